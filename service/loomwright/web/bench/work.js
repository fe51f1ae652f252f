// Work steps in their order, and what a meter reads when all is right.

import { wordsOf } from "./choices.js";
import { el } from "./dom.js";
import { figure, table } from "./tables.js";
import { hoursOf } from "./plan.js";
import { circuitVerdict, readingState, readingWords } from "./words.js";

const FULL_PLAN = "recommended";

/** Return the cautions of an answer, in full words. */
export function cautionsOf(answer) {
  return [el("ul", { class: "cautions" }, answer.cautions.map((caution) => el("li", {}, caution.text)))];
}

/** Return the work steps of a plan; one plan has them in full, the others only those that differ. */
export function stepsOf(plan, answer) {
  const full = answer.plans.find((each) => each.name === FULL_PLAN) ?? plan;
  const steps = new Map(full.work_order.steps.map((step) => [step.key, step]));
  for (const step of plan.work_order.steps) steps.set(step.key, step);
  const cautions = new Map(answer.cautions.map((caution) => [caution.key, caution.text]));
  const ordered = plan.work_order.order.map((key) => steps.get(key)).filter(Boolean);
  const left = plan.work_order.not_built.map((each) =>
    el("li", {}, `${each.circuit}: ${circuitVerdict(each.verdict)}`),
  );
  return [
    el("p", {}, `${ordered.length} steps, ${hoursOf(plan.work_order.labour_duration)} in all.`),
    left.length > 0 ? el("div", { class: "warning" }, el("p", {}, "Not built:"), el("ul", {}, left)) : null,
    el("ol", { class: "steps" }, ordered.map((step) => el("li", {}, stepOf(step, cautions)))),
  ].filter(Boolean);
}

function stepOf(step, cautions) {
  const facts = [
    Number(step.hours) > 0 ? `${Number(step.hours).toFixed(2)} h` : null,
    step.tools.length > 0 ? `Tools: ${[...new Set(step.tools)].map(wordsOf).join(", ")}` : null,
    step.parts.length > 0
      ? `Parts: ${step.parts.map((part) => `${part.quantity} × ${part.key}`).join(", ")}`
      : null,
    ...step.torques.map(torqueWords),
  ].filter(Boolean);
  return [
    ...step.cautions.map((key) => el("p", { class: "caution" }, cautions.get(key) ?? wordsOf(key))),
    el("p", { class: "task" }, step.text),
    facts.length > 0 ? el("p", { class: "facts" }, facts.join(". "), ".") : null,
    ...step.checks.map((check) => el("p", { class: "check" }, `Check: ${check}`)),
  ].filter(Boolean);
}

function torqueWords(torque) {
  const at = [torque.stud, torque.place].filter(Boolean).join(" ");
  const greatest =
    torque.greatest_torque_n_m === null ? "" : `, never above ${figure(torque.greatest_torque_n_m, 1)} N m`;
  const said = torque.torque_n_m === null ? "as the maker states" : `${figure(torque.torque_n_m, 1)} N m`;
  return `Torque, ${at}: ${said}${greatest}`;
}

/** Return the readings that a plan lets expect, in tables by the unit of the meter. */
export function readingsOf(plan, job) {
  const named = new Map(
    [...(job.circuits ?? []), ...(job.power_sources ?? [])].map((item) => [item.key, item.description]),
  );
  const rows = plan.expected_measurements;
  const isDrop = (row) => row.what.endsWith("_drop");
  const tables = [
    ["Voltages", "V", 2, 1, (row) => row.unit === "V" && !isDrop(row)],
    ["Voltage drops", "mV", 1, 1000, (row) => row.unit === "V" && isDrop(row)],
    ["Currents", "A", 1, 1, (row) => row.unit === "A" && row.what !== "drain"],
    ["Drain after sleep", "mA", 0, 1000, (row) => row.what === "drain"],
  ];
  return tables.flatMap(([caption, unit, decimals, factor, isOne]) => {
    const own = rows.filter(isOne);
    const cell = (name) => (row) => figure(row[name] === null ? null : factor * row[name], decimals);
    if (own.length === 0) return [];
    return [
      table(
        caption,
        [
          // In one column, so that the figures are in sight on a telephone too.
          { heading: "Reading and place", cell: (row) => [readingWords(row.what), place(row, named)] },
          { heading: "State", cell: (row) => readingState(row.state) },
          { heading: "From", unit, isFigure: true, cell: cell("low") },
          { heading: "Expected", unit, isFigure: true, cell: cell("expected") },
          { heading: "To", unit, isFigure: true, cell: cell("high") },
        ],
        own,
      ),
    ];
  });
}

function place(row, named) {
  const key = row.circuit ?? row.source;
  return key ? el("small", { class: "place" }, named.get(key) ?? key) : null;
}
