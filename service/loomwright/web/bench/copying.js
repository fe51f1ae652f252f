// Requests as a shell or a spreadsheet takes them, to be copied.

import { addressOf, calculations } from "./calculators.js";
import { byId, fill, options } from "./dom.js";
import { hasKey } from "./service.js";

const PLAN = "plan-installation as a curl command";
// The longest address that a common spreadsheet takes; deploy/spreadsheets/README.md has it.
const LONGEST_ADDRESS = 2048;

/** Return a text as one word of a POSIX shell. */
export function shellWord(text) {
  return `'${text.replaceAll("'", "'\\''")}'`;
}

function curlOf(operation, body) {
  const header = "-H 'Content-Type: application/json'";
  const key = hasKey() ? ' -H "Authorization: Bearer $LOOMWRIGHT_KEY"' : "";
  const address = shellWord(`${location.origin}/v1/${operation}`);
  return `curl -s ${address} ${header}${key} --data-binary ${shellWord(JSON.stringify(body))}`;
}

function formulaOf(calculation) {
  const address = addressOf(location.origin, calculation);
  return `=WEBSERVICE("${address}")`;
}

/** The part of the page where a request is chosen, shown and copied. */
export class Copying {
  constructor(entry) {
    this.entry = entry;
    byId("copy-what").addEventListener("change", () => this.#show());
    byId("copy-button").addEventListener("click", () => this.#copy());
    this.update(null, null);
  }

  /** Offer what a plan of a request allows; the choice before stays where it still can. */
  update(plan, body) {
    const before = byId("copy-what").value;
    this.offers = new Map([[PLAN, () => curlOf("plan-installation", this.entry.request)]]);
    for (const calculation of calculations(body, plan)) {
      const called = `${calculation.operation}: ${calculation.of}`;
      this.offers.set(`${called}, as a spreadsheet formula`, () => formulaOf(calculation));
      this.offers.set(`${called}, as a curl command`, () => curlOf(calculation.operation, calculation.request));
    }
    const names = [...this.offers.keys()];
    const chosen = names.includes(before) ? before : PLAN;
    fill(byId("copy-what"), options(names.map((name) => [name, name]), chosen));
    this.#show();
  }

  #show() {
    const text = this.offers.get(byId("copy-what").value)();
    byId("copy-text").value = text;
    const isLong = text.startsWith("=") && text.length - '=WEBSERVICE("")'.length >= LONGEST_ADDRESS;
    const notes = [];
    if (isLong) notes.push(`This address is longer than ${LONGEST_ADDRESS} characters, the most that some sheets take.`);
    if (hasKey()) {
      notes.push(
        text.startsWith("=")
          ? "The key is not in the formula: add &key= with a key for spreadsheets."
          : "The key is not in the command: put it into the variable LOOMWRIGHT_KEY first.",
      );
    }
    byId("copy-note").textContent = notes.join(" ");
    byId("copy-said").textContent = "";
  }

  async #copy() {
    const area = byId("copy-text");
    const said = byId("copy-said");
    try {
      await navigator.clipboard.writeText(area.value);
      said.textContent = "Copied.";
    } catch {
      // Outside HTTPS and the own machine a page has no clipboard; a person has one everywhere.
      area.focus();
      area.select();
      said.textContent = "The browser lets this page copy nothing. The text is selected: copy it with the keyboard.";
    }
  }
}
