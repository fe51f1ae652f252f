// The entry as fields: objects as groups, lists with entries that can be added, moved and removed.

import { pointerTo } from "./body.js";
import { button, byId, el, fill, reveal } from "./dom.js";
import { faultPlace, fieldId, fieldOf } from "./fields.js";
import { folds, isPlain, isWide, labelOf, namedBy, newItem, oneOf, standsOpen } from "./layout.js";
import { namesFor, rename } from "./references.js";

// Where each part of the request stands: place on the page, pointer of its object, members.
const SECTIONS = [
  ["entry-title", "/job", ["title"]],
  ["entry-vehicle", "/job", ["vehicle"]],
  ["entry-conductors", "/job", ["conductors"]],
  ["entry-sources", "/job", ["power_sources"]],
  ["entry-equipment", "/job", ["equipment"]],
  ["entry-circuits", "/job", ["circuits"]],
  ["entry-supply", "/job", ["supply", "signal"]],
  ["entry-labour", "/job", ["labour"]],
  ["entry-prices", "", ["price_book_name", "price_book_from", "headroom_percent"]],
];
// Members of the job whose own heading stands on the page already.
const WITHOUT_LEGEND = new Set(["vehicle", "conductors", "power_sources", "equipment", "circuits"]);
const REQUEST = "PlanInstallationRequest";

/** The form over an entry. */
export class Form {
  constructor(entry, schemas, bookNames) {
    this.entry = entry;
    this.schemas = schemas;
    this.bookNames = bookNames;
    this.folded = new WeakMap();
  }

  /** Make all fields anew from the entry, and put the focus where it belongs then. */
  build(focusId = null) {
    for (const [place, pointer, members] of SECTIONS) {
      const holder = pointer === "" ? this.entry.body : this.entry.body.job;
      const schema = pointer === "" ? REQUEST : "Job";
      const parts = this.#members(schema, holder, pointer, (name) => members.includes(name));
      fill(byId(place), parts);
    }
    this.entry.body.pricing ??= {};
    fill(byId("entry-pricing"), this.#members("PricingOptions", this.entry.body.pricing, "/pricing"));
    this.#tellBook();
    const target = focusId && byId(focusId);
    if (target) reveal(target);
  }

  #tellBook() {
    const stated = ["price_book", "price_book_csv"].filter((name) => name in this.entry.body);
    const place = byId("entry-book");
    fill(
      place,
      stated.map((name) =>
        el(
          "p",
          {},
          "The price book of the loaded file is used. ",
          button("Use the demo price book instead", () => {
            delete this.entry.body[name];
            this.#changedTo("entry-prices-heading");
          }),
          faultPlace(`/${name}`),
        ),
      ),
    );
  }

  #changedTo(focusId) {
    this.entry.changed(true);
    this.build(focusId);
  }

  /** Return the parts of an object: open fields, folded fields, groups and lists, what to add. */
  #members(schema, holder, pointer, isWanted = () => true) {
    const [open, more, groups, absent] = [[], [], [], []];
    for (const [name, form] of this.schemas.membersOf(schema)) {
      if (!isWanted(name)) continue;
      const place = pointerTo(pointer, name);
      if (form.kind === "record" || form.kind === "records") {
        const isStated = holder[name] !== undefined || form.isRequired;
        if (isStated) groups.push(this.#group(name, form, holder, place));
        else absent.push(this.#adder(name, form, holder, place));
      } else {
        const field = this.#field(schema, name, form, holder, place);
        (standsOpen(schema, name, form) ? open : more).push(field);
      }
    }
    return [
      open.length > 0 ? el("div", { class: "fields" }, open) : null,
      more.length > 0 ? this.#more(more, holder) : null,
      ...groups,
      absent.length > 0 ? el("div", { class: "adders" }, absent) : null,
    ].filter(Boolean);
  }

  #more(fields, holder) {
    const fold = el(
      "details",
      { class: "more", open: this.folded.get(holder)?.more === true },
      el("summary", {}, "Rarely needed"),
      el("div", { class: "fields" }, fields),
    );
    fold.addEventListener("toggle", () => this.#remember(holder, "more", fold.open));
    return fold;
  }

  #remember(holder, what, isOpen) {
    this.folded.set(holder, { ...this.folded.get(holder), [what]: isOpen });
  }

  #field(schema, name, form, holder, pointer) {
    const job = this.entry.body.job;
    const what = namedBy(schema, name);
    let names = what ? () => namesFor(what, job, holder) : null;
    if (name === "price_book_name" && this.bookNames.length > 0) {
      names = () => this.bookNames.map((book) => [book, book]);
    }
    const about = isPlain(name) ? "" : form.about;
    return fieldOf({ ...form, about }, {
      holder,
      name,
      pointer,
      label: labelOf(name),
      isWide: isWide(name),
      names,
      changed: () => this.entry.changed(),
      renamed: (after) => {
        const list = pointer.split("/").at(-3);
        const siblings = job[list] ?? [];
        const isTaken = siblings.some((other) => other !== holder && other.key === after);
        if (!isTaken) rename(job, list, holder.key, after);
        if (after === "") delete holder.key;
        else holder.key = after;
        // After the change event a click elsewhere or the Tab key still has to find its target.
        setTimeout(() => this.#changedTo(document.activeElement?.id || fieldId(pointer)), 0);
      },
    });
  }

  #adder(name, form, holder, pointer) {
    const text = form.kind === "records" ? oneOf(name) : labelOf(name).toLowerCase();
    return button(
      `Add ${text}`,
      () => {
        if (form.kind === "records") {
          holder[name] = [newItem(name, [], this.entry.body.job)];
          this.#changedTo(this.#firstOf(form, pointerTo(pointer, 0)));
        } else {
          holder[name] = {};
          this.#changedTo(this.#firstOf(form, pointer));
        }
      },
      { id: `add:${pointer}` },
    );
  }

  /** Return the identifier of the first input of an object, or of its heading. */
  #firstOf(form, pointer) {
    const members = this.schemas.membersOf(form.schema);
    const plain = members.filter(([, each]) => each.kind !== "record" && each.kind !== "records");
    const [name] =
      plain.find(([member, each]) => standsOpen(form.schema, member, each) && member !== "key") ??
      plain[0] ?? [""];
    return name ? fieldId(pointerTo(pointer, name)) : `group:${pointer}`;
  }

  #group(name, form, holder, pointer) {
    return form.kind === "record"
      ? this.#record(name, form, holder, pointer)
      : this.#list(name, form, holder, pointer);
  }

  #record(name, form, holder, pointer) {
    holder[name] ??= {};
    const parts = this.#members(form.schema, holder[name], pointer);
    const isBare = pointer.split("/").length === 3 && WITHOUT_LEGEND.has(name);
    if (isBare) return el("div", { id: `group:${pointer}`, tabindex: "-1" }, faultPlace(pointer), parts);
    const remove = form.isRequired
      ? null
      : button(`Remove ${labelOf(name).toLowerCase()}`, () => {
          delete holder[name];
          this.#changedTo(`add:${pointer}`);
        });
    return el(
      "fieldset",
      { id: `group:${pointer}`, tabindex: "-1", class: "group" },
      el("legend", {}, labelOf(name)),
      faultPlace(pointer),
      parts,
      remove,
    );
  }

  #list(name, form, holder, pointer) {
    holder[name] ??= [];
    const list = holder[name];
    const items = list.map((item, index) => this.#item(name, form, list, item, index, pointer, holder));
    const add = button(
      `Add ${oneOf(name)}`,
      () => {
        list.push(newItem(name, list, this.entry.body.job));
        this.#remember(list.at(-1), "item", true);
        this.#changedTo(this.#firstOf(form, pointerTo(pointer, list.length - 1)));
      },
      { id: `add:${pointer}` },
    );
    const isBare = pointer.split("/").length === 3 && WITHOUT_LEGEND.has(name);
    const parts = [faultPlace(pointer), el("div", { class: "items" }, items), add];
    if (isBare) return el("div", { id: `group:${pointer}`, tabindex: "-1" }, parts);
    return el(
      "fieldset",
      { id: `group:${pointer}`, tabindex: "-1", class: "group list" },
      el("legend", {}, labelOf(name)),
      parts,
    );
  }

  #item(name, form, list, item, index, pointer, holder) {
    const place = pointerTo(pointer, index);
    const words = oneOf(name);
    const titled = () => {
      const said = item.description || item.key || "";
      const number = `${words[0].toUpperCase()}${words.slice(1)} ${index + 1}`;
      return said ? `${number}: ${said}` : number;
    };
    const tools = this.#tools(words, list, index, pointer, holder, name);
    const parts = [faultPlace(place), ...this.#members(form.schema, item, place), tools];
    if (!folds(name)) {
      return el("fieldset", { class: "item", id: `group:${place}`, tabindex: "-1" }, el("legend", {}, titled()), parts);
    }
    const summary = el("summary", { id: `group:${place}` }, titled());
    const isOpen = this.folded.get(item)?.item ?? list.length === 1;
    const fold = el("details", { class: "item", open: isOpen }, summary, parts);
    fold.addEventListener("toggle", () => this.#remember(item, "item", fold.open));
    fold.addEventListener("input", () => {
      summary.firstChild.textContent = titled();
    });
    return fold;
  }

  #tools(words, list, index, pointer, holder, name) {
    const called = `${words} ${index + 1}`;
    const move = (to) => () => {
      const [moved] = list.splice(index, 1);
      list.splice(to, 0, moved);
      const other = to < index ? "up" : "down";
      const isAtEnd = to === 0 || to === list.length - 1;
      const kept = isAtEnd ? (other === "up" ? "down" : "up") : other;
      this.#changedTo(`${kept}:${pointerTo(pointer, to)}`);
    };
    const remove = () => {
      list.splice(index, 1);
      if (list.length === 0) delete holder[name];
      this.#changedTo(`add:${pointer}`);
    };
    const place = pointerTo(pointer, index);
    const tool = (kind, text, listener, isOff) =>
      button(text, listener, { id: `${kind}:${place}`, "aria-label": `${text} ${called}`, disabled: isOff });
    return el(
      "div",
      { class: "tools" },
      tool("up", "Move up", move(index - 1), index === 0),
      tool("down", "Move down", move(index + 1), index === list.length - 1),
      tool("remove", "Remove", remove, false),
    );
  }
}
