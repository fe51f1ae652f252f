// One field of the worksheet: label, input, hint, and a place for what is wrong with it.

import { put, textOfValue, valueOfText } from "./body.js";
import { wordsOf } from "./choices.js";
import { el, options } from "./dom.js";

/** Identifier of the input of a pointer, and of the place of its faults. */
export const fieldId = (pointer) => `field:${pointer}`;
export const faultId = (pointer) => `fault:${pointer}`;
const hintId = (pointer) => `hint:${pointer}`;

/** Return the place where the faults of a pointer are told. */
export function faultPlace(pointer) {
  return el("p", { class: "fault", id: faultId(pointer), hidden: true });
}

/**
 * Return the field of a member. "bound" has holder, name, pointer, label, names (what the member
 * may name, or null) and changed, which is called after each change.
 */
export function fieldOf(form, bound) {
  if (form.kind === "truth") return truthField(form, bound);
  if (form.kind === "choices") return choicesField(form, bound);
  const input = inputOf(form, bound);
  const unit = form.unit && form.unit !== "1" ? el("span", { class: "unit" }, form.unit) : null;
  const label = el("label", { for: input.id }, bound.label, unit ? " " : null, unit);
  if (!form.isRequired) label.append(el("span", { class: "optional" }, " (optional)"));
  const kinds = `field ${form.kind}${bound.isWide ? " wide" : ""}`;
  return el("div", { class: kinds }, label, input, faultPlace(bound.pointer), hintOf(form, bound));
}

function described(bound, form) {
  const hint = form.about ? `${hintId(bound.pointer)} ` : "";
  return { "aria-describedby": `${hint}${faultId(bound.pointer)}` };
}

function hintOf(form, bound) {
  if (!form.about) return null;
  const units = form.units?.length > 1 ? ` Units: ${form.units.join(", ")}.` : "";
  return el("p", { class: "hint", id: hintId(bound.pointer) }, form.about + units);
}

function inputOf(form, bound) {
  const value = textOfValue(bound.holder[bound.name]);
  const common = {
    id: fieldId(bound.pointer),
    "aria-required": form.isRequired ? "true" : null,
    ...described(bound, form),
  };
  const take = (event) => {
    put(bound.holder, bound.name, valueOfText(event.target.value, form));
    bound.changed();
  };
  if (bound.names || form.values) return selectOf(form, bound, value, common, take);
  const isKey = bound.name === "key";
  const preset = form.preset === undefined ? null : `${textOfValue(form.preset)} if left empty`;
  return el("input", {
    ...common,
    type: form.kind === "date" ? "date" : "text",
    inputmode: form.isDecimal ? "decimal" : null,
    autocomplete: "off",
    spellcheck: form.kind === "text" && !isKey ? null : "false",
    placeholder: preset,
    value,
    // A short name is taken as a whole: half of one may be that of something else.
    on: isKey ? { change: (event) => bound.renamed(event.target.value.trim()) } : { input: take },
  });
}

function selectOf(form, bound, value, common, take) {
  const known = bound.names ? bound.names() : form.values.map((key) => [String(key), wordsOf(key)]);
  const first = form.preset === undefined ? "not chosen" : `${wordsOf(form.preset)} if not chosen`;
  const pairs = [["", first], ...known];
  if (value && !known.some(([key]) => key === value)) pairs.push([value, `${value} (not known)`]);
  return el("select", { ...common, on: { change: take } }, options(pairs, value));
}

function truthField(form, bound) {
  const stated = bound.holder[bound.name];
  const box = el("input", {
    type: "checkbox",
    id: fieldId(bound.pointer),
    checked: stated === undefined ? form.preset === true : stated === true,
    ...described(bound, form),
    on: {
      change: (event) => {
        const isPreset = event.target.checked === form.preset;
        put(bound.holder, bound.name, isPreset ? undefined : event.target.checked);
        bound.changed();
      },
    },
  });
  const label = el("label", { for: box.id }, bound.label);
  const more = [faultPlace(bound.pointer), hintOf(form, bound)];
  return el("div", { class: "field truth" }, box, label, more);
}

function choicesField(form, bound) {
  const group = el("fieldset", {
    class: "field choices",
    id: fieldId(bound.pointer),
    tabindex: "-1",
    ...described(bound, form),
  });
  const boxes = form.values.map((key) => choiceBox(key, bound, tell));
  function tell() {
    const chosen = bound.holder[bound.name] ?? [];
    for (const { key, order } of boxes) {
      const place = chosen.indexOf(key);
      order.textContent = chosen.length > 1 && place >= 0 ? ` (${place + 1})` : "";
    }
  }
  tell();
  const legend = el("legend", {}, bound.label);
  if (!form.isRequired) legend.append(el("span", { class: "optional" }, " (optional)"));
  const rows = el("div", { class: "boxes" }, boxes.map((each) => each.row));
  group.append(...[legend, rows, faultPlace(bound.pointer), hintOf(form, bound)].filter(Boolean));
  return group;
}

function choiceBox(key, bound, tell) {
  const id = `${fieldId(bound.pointer)}/${key}`;
  const order = el("span", { class: "order" });
  const box = el("input", {
    type: "checkbox",
    id,
    checked: (bound.holder[bound.name] ?? []).includes(key),
    on: {
      change: (event) => {
        const others = (bound.holder[bound.name] ?? []).filter((other) => other !== key);
        const chosen = event.target.checked ? [...others, key] : others;
        put(bound.holder, bound.name, chosen.length > 0 ? chosen : undefined);
        tell();
        bound.changed();
      },
    },
  });
  return { key, order, row: el("div", { class: "box" }, box, el("label", { for: id }, wordsOf(key), order)) };
}
