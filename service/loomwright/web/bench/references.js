// Short names that one part of the job uses for another: what can be named, and what is renamed.

/** Return the short names that a member may have, as pairs of value and text. */
export function namesFor(what, job, own) {
  const circuits = (job.circuits ?? []).filter((circuit) => circuit !== own && circuit.key);
  const sources = (job.power_sources ?? []).filter((source) => source.key);
  const found = what === "feeders" ? [...sources, ...circuits] : circuits;
  return found.map((item) => [item.key, item.description || item.key]);
}

/** Follow the new short name of a source, circuit or piece of equipment wherever it is used. */
export function rename(job, list, before, after) {
  if (!before || !after) return;
  const change = (items, member) => {
    for (const item of items ?? []) if (item[member] === before) item[member] = after;
  };
  if (list === "power_sources" || list === "circuits") change(job.circuits, "fed_from");
  if (list === "circuits") change(job.equipment, "circuit");
  if (list === "equipment") {
    change(job.signal?.inputs, "equipment");
    change(job.signal?.take_offs, "equipment");
  }
  if (list === "inputs") change(job.signal?.connections, "input");
  if (list === "take_offs" || list === "sums") change(job.signal?.connections, "fed_from");
}
