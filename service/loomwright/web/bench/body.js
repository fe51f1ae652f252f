// From what is typed into a field to the value that the request carries, and back.

const PLAIN_NUMBER = /^[+-]?(\d+(\.\d+)?|\.\d+)([eE][+-]?\d{1,3})?$/;

/**
 * Return the value of a text in a field, or undefined where the member shall be absent. A plain
 * number becomes a JSON number; anything else goes as it stands, and the service says what it is.
 */
export function valueOfText(text, form) {
  const trimmed = text.trim();
  if (trimmed === "") return undefined;
  if (form.kind === "number") return PLAIN_NUMBER.test(trimmed) ? Number(trimmed) : trimmed;
  if (form.kind === "number_choice") return Number(trimmed);
  if (form.kind === "texts") {
    return trimmed.split(",").map((part) => part.trim()).filter((part) => part !== "");
  }
  return form.kind === "text" && !form.isDecimal ? text.trimStart() : trimmed;
}

/** Return the text that a field shows for a value of the request. */
export function textOfValue(value) {
  if (value === undefined || value === null) return "";
  if (Array.isArray(value)) return value.join(", ");
  return typeof value === "object" ? JSON.stringify(value) : String(value);
}

/** Put a value into an object, or take the member out where there is none. */
export function put(holder, name, value) {
  if (value === undefined) delete holder[name];
  else holder[name] = value;
}

/** Return a JSON pointer with one more token (RFC 6901). */
export function pointerTo(pointer, token) {
  return `${pointer}/${String(token).replaceAll("~", "~0").replaceAll("/", "~1")}`;
}
