// Reading of the schema of the request, as the service's own OpenAPI document states it.

const REFERENCE = "#/components/schemas/";

/** The component schemas of an OpenAPI document. */
export class Schemas {
  constructor(openapi) {
    this.components = openapi.components.schemas;
    const names = Object.values(this.components).flatMap((each) => Object.keys(each.properties ?? {}));
    this.names = new Set(names.filter((name) => name.includes("_")));
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
