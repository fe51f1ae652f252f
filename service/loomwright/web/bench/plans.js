// The plans side by side: what each costs, and what changes from one to the next.

import { partWords } from "./choices.js";
import { el } from "./dom.js";
import { figure, table } from "./tables.js";
import { difference, planName, planVerdict } from "./words.js";

/** Return the comparison of all plans of an answer. */
export function comparison(answer) {
  const before = new Map(answer.changes.map((change) => [change.after, change]));
  const figures = table(
    "What the plans cost",
    [
      { heading: "Plan", cell: (plan) => planName(plan.name) },
      { heading: "Total", unit: answer.currency, isFigure: true, cell: (plan) => plan.bill.total },
      {
        heading: "Added",
        unit: answer.currency,
        isFigure: true,
        cell: (plan) => {
          const change = before.get(plan.name);
          return change ? difference(change.total_difference) : "–";
        },
      },
      { heading: "Greatest drop", unit: "%", isFigure: true, cell: (plan) => figure(greatestDrop(plan), 1) },
    ],
    answer.plans,
  );
  const columns = answer.plans.map((plan) =>
    el("div", {}, el("h4", {}, planName(plan.name)), changesOf(before.get(plan.name), plan)),
  );
  return [figures, el("div", { class: "columns" }, columns)];
}

function greatestDrop(plan) {
  const drops = plan.network.circuits.map((circuit) => circuit.voltage_drop_percent);
  return drops.length > 0 ? Math.max(...drops) : null;
}

function changesOf(change, plan) {
  const said = [];
  if (plan.verdict !== "complete") said.push(el("p", { class: "warning" }, planVerdict(plan.verdict)));
  if (!change) return [...said, el("p", {}, plan.purpose)];
  if (change.circuits.length === 0) return [...said, el("p", {}, "Conductors and fuses stay as they are.")];
  const named = new Map(plan.circuits.map((circuit) => [circuit.key, circuit.description]));
  const rows = change.circuits.map((each) =>
    el("li", {}, `${named.get(each.circuit) ?? each.circuit}: ${each.what} ${partWords(each.before)} → ${partWords(each.after)}`),
  );
  return [...said, el("p", {}, plan.purpose), el("ul", {}, rows)];
}
