// Jobs that come and go as a whole: demo jobs, files, an empty sheet, the one before.

import { byId, el, fill, options } from "./dom.js";
import { bodyOfText } from "./entry.js";

/** The part of the page that exchanges the job. "exchanged" is called after each exchange. */
export class Loading {
  constructor(entry, schemas, demoJobs, exchanged) {
    this.entry = entry;
    this.schemas = schemas;
    this.exchanged = exchanged;
    fill(byId("demo-what"), options(demoJobs.map(({ name, job }) => [name, job.title]), demoJobs[0]?.name));
    byId("demo-load").addEventListener("click", () => {
      const { job } = demoJobs.find(({ name }) => name === byId("demo-what").value);
      this.#take({ job: structuredClone(job) }, `Loaded: ${job.title}.`);
    });
    byId("entry-clear").addEventListener("click", () => {
      entry.clear();
      this.#done("The sheet is empty.");
    });
    byId("entry-back").addEventListener("click", () => {
      entry.putBack();
      this.#done("The job before is back.");
    });
    byId("file-save").addEventListener("click", () => this.#save());
    byId("file-load").addEventListener("change", (event) => this.#read(event.target));
  }

  #take(body, said) {
    this.entry.replace(body);
    this.#done(said);
  }

  #done(said) {
    byId("entry-back").disabled = this.entry.before === null;
    byId("load-said").textContent = said;
    this.exchanged();
  }

  #save() {
    const text = JSON.stringify(this.entry.request, null, 2);
    const address = URL.createObjectURL(new Blob([text], { type: "application/json" }));
    el("a", { href: address, download: "job.json" }).click();
    setTimeout(() => URL.revokeObjectURL(address), 1000);
    byId("load-said").textContent = "The job is saved as job.json, where the browser keeps what it loads.";
  }

  async #read(input) {
    const [file] = input.files;
    if (!file) return;
    try {
      const body = bodyOfText(await file.text());
      const fault =
        this.schemas.shapeFault("Job", body.job, "/job") ??
        this.schemas.shapeFault("PricingOptions", body.pricing ?? {}, "/pricing");
      if (fault) throw new Error(`The file holds no job that this sheet can show: ${fault}`);
      this.#take(body, `Loaded: ${file.name}.`);
    } catch (error) {
      byId("load-said").textContent = error.message;
    }
    // So that the same file can be taken again.
    input.value = "";
  }
}
