// Elements, made with all text as text nodes: nothing of an answer ever becomes markup.

/**
 * Return a new element. Attributes that are null or false are left out; "on" holds listeners by
 * event. Children are elements or texts; null ones are left out.
 */
export function el(tag, attributes = {}, ...children) {
  const made = document.createElement(tag);
  for (const [name, value] of Object.entries(attributes)) {
    if (name === "on") {
      for (const [event, listener] of Object.entries(value)) made.addEventListener(event, listener);
    } else if (value === true) {
      made.setAttribute(name, "");
    } else if (value !== null && value !== undefined && value !== false) {
      made.setAttribute(name, String(value));
    }
  }
  made.append(...children.flat().filter((child) => child !== null && child !== undefined));
  return made;
}

/** Return the element with an identifier of the page. */
export function byId(id) {
  return document.getElementById(id);
}

/** Put children in the place of all that an element holds. */
export function fill(parent, ...children) {
  parent.replaceChildren(...children.flat().filter((child) => child !== null));
}

/** Return a button that does something at once. */
export function button(text, listener, attributes = {}) {
  return el("button", { type: "button", on: { click: listener }, ...attributes }, text);
}

/** Return options of a select element, from pairs of value and text. */
export function options(pairs, chosen) {
  return pairs.map(([value, text]) => el("option", { value, selected: value === chosen }, text));
}

/** Put the focus on an element, with everything around it unfolded. */
export function reveal(element) {
  for (let around = element.parentElement; around; around = around.parentElement) {
    if (around.tagName === "DETAILS") around.open = true;
  }
  element.focus();
  element.scrollIntoView({ block: "center" });
}
