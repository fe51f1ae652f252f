// What stands where on the worksheet, and what it is called there.

// Members that stand open beside the required ones; all others are folded away.
const OPEN = {
  Vehicle: ["hazards"],
  ConductorChoice: ["smallest_size"],
  PowerSource: ["cold_cranking_current", "source_resistance"],
  Equipment: ["quantity", "circuit", "load_current", "load_power", "fuse_rating"],
  Circuit: ["allowed_voltage_drop_percent"],
  RouteSegment: ["bundled_conductors", "through_bulkhead"],
  ReturnPath: ["ground_lead_length", "stud", "chassis_resistance"],
  Amplifier: ["claimed_output", "channels"],
  SignalLead: ["form", "length"],
  RemoteLead: ["length", "cross_section"],
  Tap: ["use", "quantity"],
  WantedLabour: ["operation", "quantity", "reason"],
  Alternator: ["designation"],
  SupplyConverter: ["greatest_current", "greatest_power"],
  SupplyBattery: ["cold_cranking_current", "internal_resistance"],
  ExistingLoads: ["idle_current", "driving_current", "engine_off_current", "key_off_current"],
  VehicleSupply: ["set_voltage", "engine_off_time", "standing_time"],
  PlanInstallationRequest: ["price_book_name", "headroom_percent"],
  PricingOptions: ["as_of"],
  LineDiscount: ["kind", "key", "percent"],
  DocumentDiscount: ["percent", "amount"],
  Deposit: ["percent", "amount"],
  TurnOn: ["greatest_current"],
  TakeOff: ["greatest_voltage", "output_impedance"],
  SignalInput: ["least_voltage", "greatest_voltage", "input_impedance", "equipment"],
};

// One entry of a list, in words.
const ONE = {
  power_sources: "power source",
  equipment: "equipment",
  circuits: "circuit",
  route: "route segment",
  signal_leads: "signal lead",
  remote_leads: "turn-on lead",
  taps: "tap",
  labour: "labour operation",
  line_discounts: "line discount",
  output_curve: "point of the output curve",
  open_circuit_curve: "point of the open-circuit curve",
  take_offs: "take-off",
  sums: "sum",
  inputs: "input",
  connections: "connection",
};

// Members whose label says it all.
const PLAIN = new Set(["zone", "through_bulkhead", "loomed", "taped", "show_cost", "system_voltage"]);

// Members whose text is long.
const WIDE = new Set(["title", "description", "reason"]);

const LABELS = {
  key: "Short name",
  what: "Kind",
  by: "Return by",
  zone: "Mounting zone",
  loomed: "Covered with loom",
  taped: "Taped where not loomed",
  through_bulkhead: "Passes a panel at its end",
  bundled_conductors: "Loaded conductors in bundle",
  fuse_types: "Fuse types, in the order of ticking",
  allowed_voltage_drop_percent: "Allowed voltage drop",
  cold_cranking_current: "Cold cranking current (EN)",
  tap_point: "Feeding point",
  document_discount: "Discount on the whole bill",
  package: "Package price",
  price_book_name: "Price book of this service",
  price_book_from: "Price book of a provider",
  headroom_percent: "Growth of loads for the headroom plan",
  show_cost: "Show cost and margin (needs a key for it)",
  as_of: "Day of the quote",
  conductor: "Own choice of conductor",
  fitted: "To be fitted by us",
};

// Lists whose entries are folded one by one, because each is long.
const FOLDED = new Set(["power_sources", "equipment", "circuits", "take_offs", "inputs"]);

// Members that name something else of the job, by their schema.
const NAMES = {
  Circuit: { fed_from: "feeders" },
  Equipment: { circuit: "circuits" },
};

/** Return whether a member stands open. */
export function standsOpen(schema, member, form) {
  return form.isRequired || (OPEN[schema] ?? []).includes(member);
}

/** Return whether the entries of a list fold. */
export function folds(member) {
  return FOLDED.has(member);
}

/** Return whether the field of a member takes the whole width. */
export function isWide(member) {
  return WIDE.has(member);
}

/** Return whether the label of a member needs no words beside it. */
export function isPlain(member) {
  return PLAIN.has(member);
}

/** Return what a member names, or none. */
export function namedBy(schema, member) {
  return NAMES[schema]?.[member] ?? null;
}

/** Return the words for one entry of a list. */
export function oneOf(member) {
  return ONE[member] ?? member.replaceAll("_", " ");
}

/** Return the label of a member: its name as a sentence begins, without the unit at its end. */
export function labelOf(member) {
  if (LABELS[member]) return LABELS[member];
  const words = member.replace(/_(percent|db)$/, "").replaceAll("_", " ");
  return words[0].toUpperCase() + words.slice(1);
}

/** A job with nothing in it but one of each thing that every job has. */
export function emptyBody() {
  return {
    job: {
      title: "",
      vehicle: {},
      conductors: {},
      power_sources: [{ key: "source_1" }],
      equipment: [{ key: "equipment_1", circuit: "circuit_1" }],
      circuits: [{ key: "circuit_1", fed_from: "source_1", route: [{}], return_path: {} }],
    },
  };
}

/** Return a new entry of a list, with a short name that is free and nothing that is guessed. */
export function newItem(member, list, job) {
  const stem = { power_sources: "source", circuits: "circuit", equipment: "equipment" }[member];
  const item = {};
  if (stem || ["take_offs", "inputs", "sums"].includes(member)) {
    const taken = new Set([...list, ...(job.circuits ?? [])].map((other) => other.key));
    let number = list.length + 1;
    const named = () => `${stem ?? oneOf(member).replace("-", "_")}_${number}`;
    while (taken.has(named())) number += 1;
    item.key = named();
  }
  if (member === "circuits") {
    item.fed_from = job.power_sources?.[0]?.key;
    item.route = [{}];
    item.return_path = {};
  }
  return item;
}
