// Reading of the schema of the request, as the service's own OpenAPI document states it.

const REFERENCE = "#/components/schemas/";

/** The component schemas of an OpenAPI document. */
export class Schemas {
  constructor(openapi) {
    this.components = openapi.components.schemas;
    const names = Object.values(this.components).flatMap((each) => Object.keys(each.properties ?? {}));
    this.names = new Set(names.filter((name) => name.includes("_")));
  }

  /**
   * Return why a value cannot be shown as an object of a schema, or none: objects and lists have to be
   * where the schema has them. All else may be wrong, and the service says so.
   */
  shapeFault(name, value, pointer) {
    if (value === null || typeof value !== "object" || Array.isArray(value)) {
      return `${pointer} must be an object.`;
    }
    for (const [member, form] of this.membersOf(name)) {
      const own = value[member];
      const place = `${pointer}/${member}`;
      const isList = ["records", "choices", "texts"].includes(form.kind);
      if (own === undefined) continue;
      if (isList && !Array.isArray(own)) return `${place} must be a list.`;
      const items = form.kind === "record" ? [own] : form.kind === "records" ? own : [];
      for (const [index, item] of items.entries()) {
        const inner = form.kind === "records" ? `${place}/${index}` : place;
        const fault = this.shapeFault(form.schema, item, inner);
        if (fault) return fault;
      }
    }
    return null;
  }

  /** Return a text with the names of members in it as words. */
  inWords(text) {
    return text.replace(/[a-z]+(_[a-z]+)+/g, (name) => (this.names.has(name) ? name.replaceAll("_", " ") : name));
  }

  /** Return the members of an object, as pairs of name and form, in the order of the document. */
  membersOf(name) {
    const schema = this.components[name];
    const required = new Set(schema.required ?? []);
    return Object.entries(schema.properties).map(([member, stated]) => [
      member,
      { ...formOf(stated), about: this.inWords(aboutOf(stated)), isRequired: required.has(member) },
    ]);
  }
}

function target(stated) {
  return stated.$ref.slice(REFERENCE.length);
}

/** Return what kind of value a member takes, with all that its field needs to know. */
export function formOf(stated) {
  const common = { unit: stated["x-unit"] ?? "", preset: stated.default };
  if (stated.$ref) return { kind: "record", schema: target(stated) };
  if (stated.type === "array") {
    const bounds = { least: stated.minItems ?? 0, most: stated.maxItems ?? Infinity };
    if (stated.items.$ref) return { kind: "records", schema: target(stated.items), ...bounds };
    if (stated.items.enum) return { kind: "choices", values: stated.items.enum, ...bounds };
    return { kind: "texts", ...bounds };
  }
  if (stated.anyOf) {
    const numbers = stated.anyOf.find((form) => form.enum && form.type !== "string");
    if (numbers) return { kind: "number_choice", values: numbers.enum, ...common };
    return { kind: "number", units: stated["x-accepted-units"] ?? [], ...common };
  }
  if (stated.enum) return { kind: "choice", values: stated.enum, ...common };
  if (stated.type === "boolean") return { kind: "truth", ...common };
  if (stated.type === "integer" || stated.type === "number") {
    return { kind: "number", units: [], ...common };
  }
  if (stated.format === "date" || stated.pattern === "^[0-9]{4}-[0-9]{2}-[0-9]{2}$") {
    return { kind: "date", ...common };
  }
  return { kind: "text", isDecimal: "x-least" in stated, ...common };
}

/** Return the description of a member without what its field says anyway. */
function aboutOf(stated) {
  return (stated.description ?? "")
    .replace(/ ?(A number in .*|Unit: \S+\.|Without unit\.)$/, "")
    .trim();
}
