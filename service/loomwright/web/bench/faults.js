// What the service finds wrong: told beside the field, and once more in a list at the top.

import { byId, el, fill, reveal } from "./dom.js";
import { faultId, fieldId } from "./fields.js";

/**
 * Show the faults of a problem document, and take those of the one before away. "inWords" turns the
 * names of members in a text into words.
 */
export function showFaults(problem, inWords) {
  clearFaults();
  const faults = problem.errors ?? [];
  const rows = faults.map((fault) => el("li", {}, ...toldFault(fault, inWords)));
  const heading = byId("faults-heading");
  const count = faults.length;
  heading.textContent =
    count === 0 ? problem.title : `${count} ${count === 1 ? "thing is" : "things are"} to be mended`;
  const action = count === 0 ? [el("p", {}, problem.detail), el("p", {}, problem.action ?? "")] : [];
  fill(byId("faults-list"), rows);
  fill(byId("faults-more"), action);
  byId("faults").hidden = false;
}

/** Take all faults away. */
export function clearFaults() {
  byId("faults").hidden = true;
  for (const place of document.querySelectorAll(".fault:not([hidden])")) {
    place.hidden = true;
    place.textContent = "";
  }
  for (const input of document.querySelectorAll("[aria-invalid]")) {
    input.removeAttribute("aria-invalid");
  }
  for (const mark of document.querySelectorAll(".fault-count")) mark.remove();
}

/** Tell one fault at its field, or at the nearest thing around it; return its words in the list. */
function toldFault(fault, inWords) {
  const message = sentence(inWords(fault.message));
  const found = placeOf(fault.pointer);
  if (!found) return [`${fault.pointer ? `${fault.pointer}: ` : ""}${message}`];
  const { pointer, place } = found;
  place.hidden = false;
  const rest = fault.pointer.slice(pointer.length + 1);
  const text = rest ? `${rest.replaceAll("_", " ").replaceAll("/", ", ")}: ${message}` : message;
  place.append(el("span", {}, text));
  const target = byId(fieldId(pointer)) ?? byId(`group:${pointer}`) ?? place;
  if (byId(fieldId(pointer))) target.setAttribute("aria-invalid", "true");
  countFolded(place);
  const go = (event) => {
    event.preventDefault();
    reveal(target);
  };
  const link = el("a", { href: `#${encodeURI(target.id)}`, on: { click: go } }, whereOf(place, target));
  return [link, `: ${text}`];
}

/** Return the place of a pointer or, where it has none, that of what is around it. */
function placeOf(stated) {
  for (let pointer = stated; pointer; pointer = pointer.slice(0, pointer.lastIndexOf("/"))) {
    const place = byId(faultId(pointer));
    if (place) return { pointer, place };
  }
  return null;
}

/** Say in the heading of everything that is folded how much is wrong within. */
function countFolded(place) {
  for (let fold = place.closest("details"); fold; fold = fold.parentElement.closest("details")) {
    const summary = fold.querySelector("summary");
    let mark = summary.querySelector(".fault-count");
    if (!mark) {
      mark = el("span", { class: "fault-count" });
      summary.append(mark);
    }
    const count = fold.querySelectorAll(".fault:not([hidden])").length;
    mark.textContent = ` ${count} ${count === 1 ? "fault" : "faults"} within`;
  }
}

/** Return where a field stands, in words: the thing it belongs to and its own label. */
function whereOf(place, target) {
  const label = document.querySelector(`label[for="${CSS.escape(target.id)}"]`);
  const own = label ?? target.querySelector(":scope > legend");
  const names = [];
  for (let item = place.closest(".item"); item; item = item.parentElement.closest(".item")) {
    const title = item.querySelector("summary, legend").firstChild.textContent;
    names.unshift(title.split(":")[0]);
  }
  const section = place.closest("section")?.querySelector("h3")?.textContent.replace(/^\d+\. /, "");
  if (names.length === 0 && section) names.push(section);
  const text = own?.firstChild?.textContent;
  if (text && names.at(-1) !== text.split(":")[0]) names.push(text);
  return names.join(", ") || "Entry";
}

function sentence(text) {
  const whole = text[0].toUpperCase() + text.slice(1);
  return /[.!?]$/.test(whole) ? whole : `${whole}.`;
}
