// Words for the values of closed lists.

const WORDS = {
  awg: "AWG",
  sae: "SAE",
  metric: "metric",
  iso_6722: "ISO 6722",
  cca_10: "copper-clad aluminium, 10 % copper",
  cca_15: "copper-clad aluminium, 15 % copper",
  cargo_space: "cargo space",
  engine_space_50_c: "engine space, 50 °C (boat rule)",
  open_air_30_c: "open air, 30 °C (boat rule)",
  tab: "tab terminal",
  start_stop: "start-stop system",
  high_voltage_cables: "high-voltage cables",
  bare: "bare, or the part brings its own",
  converter_output: "DC-DC converter output",
  jump_start_post: "jump-start post",
  constant_efficiency: "constant efficiency (measured)",
  agm: "absorbent glass mat (AGM)",
  A_series_fed: "A, series fed",
  none: "none",
};

/** Return a key of the service in words. */
export function wordsOf(key) {
  if (key === null || key === undefined) return "";
  const text = String(key);
  if (WORDS[text]) return WORDS[text];
  const iso = /^iso_(\d+)_(\d)_(.+)$/.exec(text);
  if (iso) return `ISO ${iso[1]}-${iso[2]} ${fuseForm(iso[3])}`;
  const sae = /^sae_(j\d+)$/.exec(text);
  if (sae) return `SAE ${sae[1].toUpperCase()}`;
  const insulation = /^(pvc|xlpe|silicone)_(\d+)$/.exec(text);
  if (insulation) {
    const name = insulation[1] === "silicone" ? "silicone" : insulation[1].toUpperCase();
    return `${name}, ${insulation[2]}\u00a0°C`;
  }
  return text.replaceAll("_", " ");
}

function fuseForm(text) {
  if (text === "c_1_to_2_a") return "type C, 1 to 2 A";
  if (/^[a-f]$/.test(text)) return `type ${text.toUpperCase()}`;
  return /^sf\d+$/.test(text) ? text.toUpperCase() : text.replaceAll("_", " ");
}

/** Return the size of a conductor with the sign of its unit. */
export function sizeWords(size) {
  return String(size).replace(/ mm2$/, "\u00a0mm²");
}

/** Return a conductor, or a fuse type with its rating such as "iso_8820_5_sf30 50 A", in words. */
export function partWords(text) {
  if (text === null || text === undefined) return "none";
  const [key, ...rest] = sizeWords(text).split(" ");
  return [wordsOf(key), ...rest].join(" ");
}
