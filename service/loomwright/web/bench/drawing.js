// The drawing of the chosen plan, shown as a picture and never as part of the page.

import { byId, el, fill } from "./dom.js";
import { post, RefusedError } from "./service.js";

const SVG = "image/svg+xml";

/** Asks for the drawing of a plan and shows the last one asked for. */
export class Drawing {
  constructor() {
    this.controller = null;
    this.address = null;
  }

  /** Show the drawing of a plan of a request. */
  async show(body, plan) {
    this.controller?.abort();
    const controller = new AbortController();
    this.controller = controller;
    try {
      const asked = { ...body, plan };
      const response = await post("/v1/draw-installation", asked, { accept: SVG, signal: controller.signal });
      const text = await response.text();
      if (this.controller === controller) this.#put(text);
    } catch (error) {
      if (error.name === "AbortError" || this.controller !== controller) return;
      this.#drop();
      fill(byId("drawing"), el("p", {}, reason(error)));
    }
  }

  #put(text) {
    this.#drop();
    this.address = URL.createObjectURL(new Blob([text], { type: SVG }));
    const title = titleOf(text) || "Drawing of the installation";
    const link = el("a", { href: this.address, download: "installation.svg" }, "Keep the drawing as a file (SVG)");
    fill(byId("drawing"), el("img", { src: this.address, alt: title }), el("p", {}, link));
  }

  #drop() {
    if (this.address) URL.revokeObjectURL(this.address);
    this.address = null;
  }
}

const ENTITIES = { lt: "<", gt: ">", quot: '"', apos: "'", amp: "&" };

/**
 * Return the title of a drawing. It is looked for in the text: a parsed drawing would keep the rules of
 * this page, which its own style breaks.
 */
function titleOf(text) {
  const [, title = ""] = /<title\b[^>]*>([^<]*)<\/title>/.exec(text) ?? [];
  return title.replace(/&(lt|gt|quot|apos|amp);/g, (_, name) => ENTITIES[name]).trim();
}

function reason(error) {
  if (error instanceof RefusedError && error.status === 404) return "There is no drawing: this service makes none.";
  return `There is no drawing. ${error.message}`;
}
