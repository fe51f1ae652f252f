// Requests of the calculators for one circuit or amplifier of the plan that is shown.

const SIX_DIGITS = (value) => Number(value.toPrecision(6));

/** Return what can be asked of the calculators: pairs of operation, what it is of, and the request. */
export function calculations(body, plan) {
  if (!plan) return [];
  const { job } = body;
  const found = [];
  for (const circuit of plan.circuits) {
    const stated = job.circuits.find((each) => each.key === circuit.key);
    const state = plan.network.circuits.find((each) => each.circuit === circuit.key);
    if (!stated || !state || !circuit.conductor) continue;
    const source = sourceOf(job, stated);
    if (!source) continue;
    const system = Number(String(source.system_voltage ?? job.vehicle.system_voltage).replace(/ ?V$/, ""));
    const request = conductorRequest(job, stated, circuit, state, system);
    found.push({ operation: "size-conductor", of: circuit.description, request });
    if (circuit.fuse) {
      const fuse = fuseRequest(job, stated, circuit, source, system);
      found.push({ operation: "size-fuse", of: circuit.description, request: fuse });
    }
  }
  for (const output of plan.real_output) {
    const equipment = job.equipment.find((each) => each.key === output.equipment);
    if (!equipment?.amplifier) continue;
    const request = {
      fuse_rating: equipment.fuse_rating,
      supply_voltage: SIX_DIGITS(output.supply_voltage_v),
      ...equipment.amplifier,
    };
    found.push({ operation: "estimate-real-output", of: output.description, request });
  }
  return found;
}

function sourceOf(job, circuit) {
  const seen = new Set();
  for (let at = circuit; at && !seen.has(at); ) {
    seen.add(at);
    const { fed_from: feeder } = at;
    const source = job.power_sources.find((each) => each.key === feeder);
    if (source) return source;
    at = job.circuits.find((each) => each.key === feeder);
  }
  return null;
}

/** Return conductor family, route and return of a circuit, as both calculators take them. */
function wiring(stated, circuit) {
  const { by, ground_lead_length: lead, chassis_resistance: chassis } = stated.return_path;
  const route = stated.route.map(({ length, zone, bundled_conductors: bundled }) => ({
    length,
    zone,
    ...(bundled === undefined ? {} : { bundled_conductors: bundled }),
  }));
  // The ground lead is a last stretch of the same conductor.
  if (by === "chassis") route.push({ length: lead, zone: route.at(-1).zone });
  return {
    series: circuit.conductor.series,
    material: circuit.conductor.material,
    insulation: circuit.conductor.insulation,
    route,
    return_path: by,
    ...(by === "chassis" ? { chassis_resistance: chassis ?? 0.001 } : {}),
  };
}

function conductorRequest(job, stated, circuit, state, system) {
  const smallest = stated.conductor?.smallest_size ?? job.conductors.smallest_size;
  const percent = stated.allowed_voltage_drop_percent ?? 3;
  return {
    ...wiring(stated, circuit),
    load_current: circuit.load_current_a,
    supply_voltage: SIX_DIGITS(state.feeding_voltage_v),
    allowed_voltage_drop: SIX_DIGITS(0.01 * percent * system),
    fuse_resistance: stated.joint_resistance ?? 0.001,
    ...(smallest && !stated.conductor?.series ? { smallest_size: smallest } : {}),
  };
}

function fuseRequest(job, stated, circuit, source, system) {
  const loads = job.equipment.filter((each) => each.circuit === stated.key);
  const ratings = loads.map((each) => each.fuse_rating).filter((rating) => typeof rating === "number");
  const isMain = stated.fed_from === source.key;
  const emf = Number.parseFloat(source.source_voltage);
  return {
    ...wiring(stated, circuit),
    size: circuit.conductor.size,
    load_current: circuit.load_current_a,
    system_voltage: String(system),
    source_voltage: source.source_voltage,
    // All that lies before the fuse, as the fault current there tells.
    source_resistance: SIX_DIGITS(emf / circuit.near_source_fault_a),
    ...(source.tap_point === "converter_output" && source.greatest_current !== undefined
      ? { source_current_limit: source.greatest_current }
      : {}),
    fixed_resistance: stated.joint_resistance ?? 0.001,
    fuse_types: stated.fuse_types,
    fuse_zone: stated.route[0].zone,
    distance_from_source: stated.distance_from_source ?? 0.15,
    ...(stated.sheathed ? { sheathed: true } : {}),
    is_main: isMain,
    on_battery_terminal: isMain && ["battery", "remote_battery"].includes(source.tap_point),
    ...(ratings.length > 0 ? { equipment_fuse_rating: Math.max(...ratings) } : {}),
  };
}

/** Return the address of a calculation, as a cell of a sheet asks for it. */
export function addressOf(origin, { operation, request }) {
  const query = Object.entries(request)
    .filter(([, value]) => value !== undefined)
    .map(([name, value]) => `${name}=${encodeURIComponent(queryText(value))}`);
  return `${origin}/v1/${operation}?as=text&${query.join("&")}`;
}

function queryText(value) {
  return typeof value === "object" ? JSON.stringify(value) : String(value);
}
