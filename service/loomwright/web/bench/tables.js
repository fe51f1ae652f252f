// Ruled tables: texts to the left, figures to the right and in one width, units in the heading.

import { el } from "./dom.js";

/** Return a figure with a fixed number of decimals; a dash where there is none. */
export function figure(value, decimals) {
  if (value === null || value === undefined) return "–";
  const rounded = Number(value).toFixed(decimals);
  // Rounding may leave a minus before nothing.
  return /^-0(\.0+)?$/.test(rounded) ? rounded.slice(1) : rounded;
}

/**
 * Return a table. Columns have a heading, a unit (or none), isFigure or isWords (whole sentences), and
 * cell(row), which returns text or elements. The first column heads its row.
 */
export function table(caption, columns, rows) {
  const heads = columns.map((column) =>
    el(
      "th",
      { scope: "col", class: column.isFigure ? "figure" : null },
      column.heading,
      column.unit ? el("span", { class: "unit" }, ` ${column.unit}`) : null,
    ),
  );
  const body = rows.map((row) =>
    el(
      "tr",
      {},
      columns.map((column, index) => {
        const attributes = { class: column.isFigure ? "figure" : column.isWords ? "words" : null };
        if (index === 0) return el("th", { scope: "row", ...attributes }, column.cell(row));
        return el("td", attributes, column.cell(row));
      }),
    ),
  );
  const made = el(
    "table",
    {},
    el("caption", {}, caption),
    el("thead", {}, el("tr", {}, heads)),
    el("tbody", {}, body),
  );
  return scrolled(made, caption);
}

// A frame that scrolls must be reached by the keyboard; one that does not need not stop it.
const frames = new ResizeObserver((entries) => {
  for (const { target } of entries) {
    if (target.scrollWidth > target.clientWidth) target.setAttribute("tabindex", "0");
    else target.removeAttribute("tabindex");
  }
});

/** Return a table in a frame of its own, which alone scrolls sideways where the page is narrow. */
export function scrolled(made, caption) {
  const frame = el("div", { class: "table", role: "region", "aria-label": caption }, made);
  frames.observe(frame);
  return frame;
}

const unfolded = new Set();

/** Return parts under a heading that unfolds them, and stays as it is left in the next answer. */
export function foldedUnder(heading, name, ...parts) {
  const fold = el("details", { open: unfolded.has(name) }, el("summary", {}, heading), ...parts);
  fold.addEventListener("toggle", () => (fold.open ? unfolded.add(name) : unfolded.delete(name)));
  return fold;
}

/** Return a list of names and values. */
export function pairs(rows) {
  return el(
    "dl",
    {},
    rows.flatMap(([name, value]) => [el("dt", {}, name), el("dd", {}, value)]),
  );
}
