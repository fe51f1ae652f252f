// Verdicts in words. What is not listed is told by the service's own key, without its underscores.

import { wordsOf } from "./choices.js";

const PLAN = {
  complete: "The plan is complete: every circuit is sized and everything is priced.",
  incomplete: "The plan is incomplete: a circuit is not sized, or something has no price.",
  source_overloaded: "A power source would be overloaded.",
  no_operating_point: "The loads ask for more than the wiring can bring to them.",
  not_consistent: "Conductors and loads do not come to agree with each other.",
  voltage_too_low: "The voltage at some equipment would be too low.",
  supply_insufficient: "The vehicle's supply is not sufficient for the new loads.",
};
const CIRCUIT = {
  sized: "sized",
  no_conductor: "No conductor meets the limits.",
  no_fuse: "No fuse fits.",
  no_feeder: "The circuit that feeds it is not sized.",
};
const SUPPLY = {
  supply_sufficient: "The supply is sufficient for the new loads.",
  supply_insufficient: "The supply is not sufficient for the new loads.",
};
const CLAIM = {
  plausible: "The claim is plausible.",
  doubtful: "The claim is doubtful.",
  impossible: "The claim is impossible.",
  output_estimated: "No claim is stated.",
};
const SIGNAL = {
  ready: "The signal path is ready as it is entered.",
  devices_needed: "The signal path needs further devices.",
  change_needed: "The signal path has to be changed.",
};
const STATE = { idle: "engine at idle", driving: "on the road", engine_off: "engine off" };
const CHECK = {
  charging_at_idle: "Charging with the engine at idle",
  charging_while_driving: "Charging on the road",
  engine_off_time: "Time with the engine off",
  standing_time: "Time parked",
  load_voltage: "Voltage at the load",
  operating_point: "Power that the supply can deliver",
};
const READING = {
  source_voltage: "Voltage of the source",
  equipment_voltage: "Voltage at the end of the circuit",
  feed_drop: "Drop over the feed",
  return_drop: "Drop over the return",
  source_lug_drop: "Drop over the lug at the source",
  fuse_drop: "Drop over fuse and holder",
  load_lug_drop: "Drop over the lug at the load",
  current: "Current",
  drain: "Drain after sleep",
  gain_voltage: "Gain-setting voltage",
};
const READING_STATE = {
  rest: "at rest",
  load: "everything on",
  asleep: "asleep",
  gain_setting: "setting the gain",
};
const PLAN_NAME = {
  leanest: "Leanest",
  recommended: "Recommended",
  headroom: "With headroom",
};
const BOUND = { fuse_and_efficiency: "fuse and efficiency" };
// UN/ECE Recommendation 20, as the service's unit codes are.
const UNIT = {
  C62: "", CMT: "cm", EA: "each", FOT: "ft", GRM: "g", H87: "piece", HUR: "h", INH: "in",
  KGM: "kg", MMT: "mm", MTR: "m", PR: "pair", SET: "set",
};

const told = (table) => (key) => table[key] ?? wordsOf(key);

export const planVerdict = told(PLAN);
export const circuitVerdict = told(CIRCUIT);
export const supplyVerdict = told(SUPPLY);
export const claimVerdict = told(CLAIM);
export const signalVerdict = told(SIGNAL);
export const stateWords = told(STATE);
export const checkWords = told(CHECK);
export const readingWords = told(READING);
export const readingState = told(READING_STATE);
export const planName = told(PLAN_NAME);
export const boundWords = told(BOUND);
export const unitWords = told(UNIT);

/** Return a sign before an amount that is added. */
export function difference(amount) {
  return amount.startsWith("-") ? `−${amount.slice(1)}` : `+${amount}`;
}
