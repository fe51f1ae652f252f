// The bench page: puts entry, questions and answers together.

import { Copying } from "./copying.js";
import { byId, button, fill } from "./dom.js";
import { Drawing } from "./drawing.js";
import { Entry } from "./entry.js";
import { clearFaults, showFaults } from "./faults.js";
import { Form } from "./form.js";
import { Live } from "./live.js";
import { Loading } from "./loading.js";
import { Printing } from "./printing.js";
import { Results } from "./results.js";
import { Schemas } from "./schema.js";
import { jsonOf, post, read, RefusedError, useKey } from "./service.js";

const FIRST_WAIT_MS = 1000;
const LONGEST_WAIT_MS = 30_000;

/** Say what goes on; the place is a live region. "more" is a control that goes with it. */
function say(text, kind = "", more = null) {
  const place = byId("status");
  place.className = kind;
  if (byId("status-text").textContent !== text) byId("status-text").textContent = text;
  fill(byId("status-more"), more);
}

/** Read what the page needs to begin with, again and again until it is there. */
async function begun(what, isNeeded = true) {
  for (let waitMs = FIRST_WAIT_MS; ; waitMs = Math.min(2 * waitMs, LONGEST_WAIT_MS)) {
    try {
      return await read(what);
    } catch (error) {
      if (!isNeeded && error instanceof RefusedError) return null;
      say(`${error.message} The page tries again in ${waitMs / 1000} s.`, "down");
      await new Promise((resolve) => setTimeout(resolve, waitMs));
    }
  }
}

async function start() {
  say("The page is being set up.", "working");
  const entry = new Entry();
  const [openapi, demoJobs, books] = await Promise.all([
    begun("/v1/openapi.json"),
    begun("/bench/demo-jobs.json"),
    begun("/v1/price-books", false),
  ]);
  const names = (books?.price_books ?? []).map((book) => book.name).filter(Boolean);
  const schemas = new Schemas(openapi);
  const form = new Form(entry, schemas, names);
  const drawing = new Drawing();
  const copying = new Copying(entry);
  const results = new Results((plan) => {
    copying.update(plan, results.body);
    drawing.show(results.body, plan.name);
  });
  new Printing(entry, () => results.plan?.name ?? "recommended");

  const live = new Live(
    async (signal) => {
      const body = entry.request;
      const response = await post("/v1/plan-installation", body, { signal });
      return { body, answer: await jsonOf(response) };
    },
    {
      working: () => {
        results.markStale(true);
        say("Working.", "working");
      },
      answered: ({ body, answer }) => {
        clearFaults();
        results.show(answer, body);
        byId("key-part").hidden = byId("key").value === "";
        say(`Worked out: ${answer.plans.length} plans. Total ${byId("result-total").textContent}.`);
      },
      refused: (error) => {
        results.markStale(true);
        copying.update(results.plan, results.body);
        if (error.status === 401 || error.status === 403) byId("key-part").hidden = false;
        showFaults(error.problem, (text) => schemas.inWords(text));
        say(refusal(error), "refused");
      },
      waiting: (seconds, error) => {
        results.markStale(true);
        const now = button("Try now", () => live.now());
        say(`${error.message} The entry is kept. Next try in ${seconds} s.`, "down", now);
      },
      failed: () => say("The page could not show the answer. The entry is kept.", "down"),
    },
  );

  const exchanged = () => {
    form.build();
    clearFaults();
    if (!entry.isTouched) {
      live.stop();
      results.markStale(true);
      say("Enter a job, or load a demo job.");
    }
  };
  new Loading(entry, schemas, demoJobs, exchanged);
  entry.onChange(() => {
    copying.update(results.plan, results.body);
    live.changed();
  });
  byId("key-form").addEventListener("submit", (event) => {
    event.preventDefault();
    useKey(byId("key").value);
    live.now();
  });
  byId("hints").addEventListener("change", (event) => {
    document.body.classList.toggle("without-hints", !event.target.checked);
  });
  window.addEventListener("online", () => entry.isTouched && live.now());

  form.build();
  // Before that they would have done nothing.
  for (const control of document.querySelectorAll(".when-ready")) control.disabled = false;
  if (entry.isTouched) live.now();
  else say("Enter a job, or load a demo job.");
}

function refusal(error) {
  if (error.status === 401) return "The service asks for a key. Enter it above.";
  const count = (error.problem.errors ?? []).length;
  if (count === 0) return error.problem.detail ?? error.problem.title;
  return `${count} ${count === 1 ? "thing" : "things"} to be mended; see the list of faults.`;
}

start();
