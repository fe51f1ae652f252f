// Quote, work order and fuse labels, as a page or a PDF in a tab of its own.

import { byId } from "./dom.js";
import { post, RefusedError } from "./service.js";

const HTML = "text/html";
const PDF = "application/pdf";
// Long enough for any browser to have read it.
const KEPT_MS = 10 * 60 * 1000;

/** The part of the page that asks for documents. "plan" returns the name of the chosen plan. */
export class Printing {
  constructor(entry, plan) {
    this.entry = entry;
    this.plan = plan;
    byId("print-html").addEventListener("click", () => this.#open(HTML));
    byId("print-pdf").addEventListener("click", () => this.#open(PDF));
  }

  async #open(accept) {
    const said = byId("print-said");
    // Opened at once: later a browser would take it for something nobody asked for.
    const tab = window.open("", "_blank");
    if (!tab) {
      said.textContent = "The browser lets this page open no tab. Allow it and try again.";
      return;
    }
    tab.document.title = "The document is being made";
    said.textContent = "The document is being made.";
    const body = {
      ...this.entry.request,
      document: {
        kind: byId("print-kind").value,
        language: byId("print-language").value,
        units: byId("print-units").value,
        plan: this.plan(),
      },
    };
    try {
      const response = await post("/v1/plan-installation", body, { accept });
      const made = await response.blob();
      if (!made.type.startsWith(accept)) throw new Error("The service answered with something else.");
      if (accept === HTML) await showPage(tab, await made.text());
      else tab.location.replace(addressOf(made));
      said.textContent = "The document is in a new tab.";
    } catch (error) {
      tab.close();
      said.textContent = reason(error);
    }
  }
}

function addressOf(blob) {
  const address = URL.createObjectURL(blob);
  setTimeout(() => URL.revokeObjectURL(address), KEPT_MS);
  return address;
}

// What a style element holds is raw text: it ends at the first end tag, whatever stands before.
const STYLE = /<style\b[^>]*>([^]*?)<\/style\s*>/gi;

/**
 * Show an HTML document. A page made of it keeps the rules of this one, which forbid style and script
 * within markup: its style sheets are taken out and given to the tab as sheets of their own.
 */
async function showPage(tab, text) {
  const sheets = [...text.matchAll(STYLE)].map(([, sheet]) => sheet);
  const loaded = new Promise((resolve) => tab.addEventListener("pagehide", () => resolve(), { once: true }));
  tab.location.replace(addressOf(new Blob([text.replace(STYLE, "")], { type: `${HTML}; charset=utf-8` })));
  await Promise.race([loaded, wait(2000)]);
  await until(() => tab.document.readyState === "complete" && tab.location.protocol === "blob:");
  tab.document.adoptedStyleSheets = sheets.map((sheet) => {
    const made = new tab.CSSStyleSheet();
    made.replaceSync(sheet);
    return made;
  });
}

const wait = (ms) => new Promise((resolve) => setTimeout(resolve, ms));

async function until(isSo) {
  for (let tries = 0; tries < 200 && !isSo(); tries += 1) await wait(25);
  if (!isSo()) throw new Error("The tab did not show the document.");
}

function reason(error) {
  if (!(error instanceof RefusedError)) return `No document was made. ${error.message}`;
  if (error.status === 406) return "This service does not make this document in this form.";
  const faults = (error.problem.errors ?? []).map((fault) => fault.message).join("; ");
  return `No document was made: ${error.message} ${faults}`.trim();
}
