// The answer on the page: the chosen plan of the last good answer, and whether it is still that.

import { byId, el, fill } from "./dom.js";
import { billOf, circuitsOf } from "./plan.js";
import { comparison } from "./plans.js";
import { outputsOf, signalOf, supplyOf } from "./supply.js";
import { foldedUnder } from "./tables.js";
import { cautionsOf, readingsOf, stepsOf } from "./work.js";
import { planName, planVerdict } from "./words.js";

const FIRST_PLAN = "recommended";

/** Shows answers. "chosen" is called with the plan that is shown, whenever it is another one. */
export class Results {
  constructor(chosen) {
    this.chosen = chosen;
    this.name = FIRST_PLAN;
    this.answer = null;
    this.body = null;
  }

  /** Return the plan that is shown, or none. */
  get plan() {
    return this.answer?.plans.find((plan) => plan.name === this.name) ?? this.answer?.plans[0] ?? null;
  }

  /** Show an answer to a request. */
  show(answer, body) {
    this.answer = answer;
    this.body = body;
    byId("results-none").hidden = true;
    byId("results").hidden = false;
    this.markStale(false);
    fill(byId("result-cautions"), cautionsOf(answer));
    fill(byId("result-plans"), comparison(answer));
    this.#offerPlans();
    fill(byId("result-sources"), sourcesOf(answer));
    this.#showPlan();
  }

  /** Mark what is shown as the answer to another entry, or take the mark away. */
  markStale(isStale) {
    byId("results").classList.toggle("stale", isStale && this.answer !== null);
    byId("stale-mark").hidden = !isStale || this.answer === null;
  }

  #offerPlans() {
    const choices = this.answer.plans.map((plan) => {
      const id = `plan-${plan.name}`;
      const input = el("input", {
        type: "radio",
        name: "plan",
        id,
        checked: plan === this.plan,
        on: {
          change: () => {
            this.name = plan.name;
            this.#showPlan();
          },
        },
      });
      return el("div", { class: "box" }, input, el("label", { for: id }, planName(plan.name)));
    });
    const place = byId("plan-choice");
    const hadFocus = place.contains(document.activeElement);
    fill(place, choices);
    if (hadFocus) byId(`plan-${this.plan.name}`)?.focus();
  }

  #showPlan() {
    const { plan, answer } = this;
    const isComplete = plan.verdict === "complete";
    fill(
      byId("result-verdict"),
      el("p", { class: isComplete ? "verdict" : "verdict warning" }, planVerdict(plan.verdict)),
      el(
        "p",
        { class: "total" },
        `${planName(plan.name)}: total `,
        el("strong", { id: "result-total" }, `${plan.bill.total} ${answer.currency}`),
        ` ${plan.bill.taxes.length > 0 ? "with taxes" : "without taxes"}.`,
      ),
    );
    fill(byId("result-circuits"), circuitsOf(plan).filter(Boolean));
    fill(byId("result-bill"), billOf(plan, answer));
    fill(byId("result-supply"), supplyOf(plan));
    fill(byId("result-output"), outputsOf(plan));
    fill(byId("result-signal"), signalOf(plan));
    fill(byId("result-steps"), stepsOf(plan, answer));
    fill(byId("result-readings"), readingsOf(plan, this.body.job));
    this.chosen(plan);
  }
}

const CHECKED = {
  page: "read on the publication's page",
  formula: "follows from a formula",
  memory: "from memory, not checked against the publication",
  practice: "common practice, no source",
};

function sourcesOf(answer) {
  const rows = answer.sources.map((source) =>
    el(
      "li",
      {},
      [source.title, source.edition, source.locator].filter(Boolean).join(", "),
      `; ${CHECKED[source.checked] ?? source.checked}.`,
    ),
  );
  return foldedUnder(`${rows.length} rows of published tables`, "sources", el("ul", {}, rows));
}
