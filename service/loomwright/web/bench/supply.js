// Supply of the vehicle, real output of amplifiers, signal path.

import { wordsOf } from "./choices.js";
import { el } from "./dom.js";
import { figure, pairs, table } from "./tables.js";
import { boundWords, checkWords, claimVerdict, signalVerdict, stateWords, supplyVerdict } from "./words.js";

/** Return the verdict on the supply of a plan, or what would be needed for one. */
export function supplyOf(plan) {
  const { supply } = plan;
  if (!supply) return [el("p", {}, "The job states no supply, so that it is not judged.")];
  const isEnough = supply.verdict === "supply_sufficient";
  return [
    el("p", { class: isEnough ? "verdict" : "verdict warning" }, supplyVerdict(supply.verdict)),
    ...supply.shortfalls.map(shortfallOf),
    supply.charging?.length > 0 ? chargingOf(supply.charging) : null,
    restOf(supply),
    supply.worst_voltages?.length > 0 ? voltagesOf(supply.worst_voltages) : null,
  ].filter(Boolean);
}

function shortfallOf(shortfall) {
  const { unit, check, load_key: load, state } = shortfall;
  const where = [load, state && stateWords(state)].filter(Boolean).join(", ");
  const figures = `${figure(shortfall.present, 2)} ${unit} where ${figure(shortfall.wanted, 2)} ${unit} is wanted`;
  const remedies = shortfall.remedies.map((remedy) => el("li", {}, remedyWords(remedy, shortfall.cheapest)));
  return el(
    "div",
    { class: "warning" },
    el("p", {}, `${checkWords(check)}${where ? ` (${where})` : ""}: ${figures}. ${shortfall.reason}`),
    remedies.length > 0 ? el("ul", {}, remedies) : null,
  );
}

const REMEDY_FIGURES = [
  ["drive_level_change_db", 1, "dB"],
  ["standby_current_a", 3, "A at most"],
  ["idle_speed_rpm", 0, "rpm"],
  ["loop_resistance_ohm", 4, "ohm at most, there and back"],
  ["added_capacity_ah", 0, "Ah at least"],
  ["output_a", 0, "A at least"],
];

function remedyWords(remedy, cheapest) {
  const said = REMEDY_FIGURES.filter(([name]) => typeof remedy[name] === "number").map(
    ([name, decimals, unit]) => `${figure(remedy[name], decimals)} ${unit}`,
  );
  const closes = remedy.closes ? "closes the gap" : "does not close the gap alone";
  const best = remedy.remedy === cheapest ? ", at the least cost" : "";
  return `${wordsOf(remedy.remedy)}${said.length > 0 ? `, ${said.join(", ")}` : ""}: ${closes}${best}.`;
}

function chargingOf(rows) {
  return table(
    "Charging",
    [
      { heading: "State", cell: (row) => stateWords(row.state) },
      { heading: "Output", unit: "A", isFigure: true, cell: (row) => figure(row.output_a, 1) },
      { heading: "Taken already", unit: "A", isFigure: true, cell: (row) => figure(row.existing_current_a, 1) },
      { heading: "New, average", unit: "A", isFigure: true, cell: (row) => figure(row.average_current_a, 1) },
      { heading: "New, peak", unit: "A", isFigure: true, cell: (row) => figure(row.peak_current_a, 1) },
      { heading: "Left over", unit: "A", isFigure: true, cell: (row) => figure(row.headroom_a, 1) },
    ],
    rows,
  );
}

function restOf(supply) {
  const rows = [];
  if (supply.engine_off) {
    const { engine_off_time_h: hours, reason } = supply.engine_off;
    rows.push(["With the engine off", `${figure(hours, 1)} h, until ${reason}`]);
  }
  if (supply.key_off) {
    const { no_start_time_d: days, drain_current_a: drain } = supply.key_off;
    rows.push(["Parked", `starts for ${figure(days, 0)} d at a drain of ${figure(1000 * drain, 0)} mA`]);
  }
  return rows.length > 0 ? pairs(rows) : null;
}

function voltagesOf(rows) {
  return table(
    "Least voltages, all peaks together",
    [
      { heading: "Load", cell: (row) => row.key },
      { heading: "State", cell: (row) => stateWords(row.state) },
      { heading: "Voltage", unit: "V", isFigure: true, cell: (row) => figure(row.load_voltage_v, 2) },
      { heading: "Current", unit: "A", isFigure: true, cell: (row) => figure(row.load_current_a, 1) },
    ],
    rows,
  );
}

/** Return what the amplifiers of a plan can really put out. */
export function outputsOf(plan) {
  if (plan.real_output.length === 0) return [el("p", {}, "The job states no amplifier.")];
  return [
    table(
      "Real output",
      [
        { heading: "Amplifier", cell: (row) => row.description },
        { heading: "Low", unit: "W", isFigure: true, cell: (row) => figure(row.output_low_w, 0) },
        { heading: "Likely", unit: "W", isFigure: true, cell: (row) => figure(row.output_likely_w, 0) },
        { heading: "High", unit: "W", isFigure: true, cell: (row) => figure(row.output_high_w, 0) },
        { heading: "Claimed", unit: "W", isFigure: true, cell: (row) => figure(row.claimed_output_w, 0) },
        { heading: "On music", unit: "A", isFigure: true, cell: (row) => figure(row.programme_current_a, 1) },
        { heading: "Set gain to", unit: "V", isFigure: true, cell: (row) => figure(row.gain_setting_voltage_v, 1) },
        { heading: "Verdict", isWords: true, cell: (row) => [claimVerdict(row.verdict), ` Limit: ${boundWords(row.likely_bound)}.`] },
      ],
      plan.real_output,
    ),
  ];
}

/** Return the verdict on the signal path of a plan, or none. */
export function signalOf(plan) {
  const { signal } = plan;
  if (!signal) return [el("p", {}, "The job states no signal path.")];
  const devices = signal.devices.map((device) => el("li", {}, `${device.at}: ${device.text}`));
  const changes = [...signal.changes, ...signal.notes].map((each) =>
    el("li", {}, each.text ?? wordsOf(each.change ?? each.note)),
  );
  return [
    el("p", { class: signal.verdict === "ready" ? "verdict" : "verdict warning" }, signalVerdict(signal.verdict)),
    devices.length + changes.length > 0 ? el("ul", {}, devices, changes) : null,
    table(
      "Levels",
      [
        { heading: "From", cell: (row) => row.fed_from },
        { heading: "To", cell: (row) => row.input },
        { heading: "At input", unit: "V", isFigure: true, cell: (row) => figure(row.level?.input_voltage_v, 2) },
        { heading: "Level", cell: (row) => wordsOf(row.level?.verdict) },
        { heading: "Ground noise", cell: (row) => wordsOf(row.ground_noise?.verdict ?? "not_judged") },
      ],
      signal.connections,
    ),
  ].filter(Boolean);
}
