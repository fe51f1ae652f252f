// Calls of the service; the key is held here, in memory alone.

const PROBLEM = "application/problem+json";
let key = "";

/** Take a key for all calls from now on; an empty one takes it away. */
export function useKey(stated) {
  key = stated.trim();
}

/** Return whether calls carry a key. */
export function hasKey() {
  return key !== "";
}

/** What the service refuses, with its problem document. */
export class RefusedError extends Error {
  constructor(problem, status, retryAfterS) {
    super(problem.detail ?? problem.title);
    this.problem = problem;
    this.status = status;
    this.retryAfterS = retryAfterS;
  }
}

/** No answer came: the service is down, or the way to it is. */
export class UnreachableError extends Error {}

/** Send a JSON body and return the response; throws RefusedError, UnreachableError, AbortError. */
export function post(path, body, { accept = "application/json", signal } = {}) {
  const headers = { "Content-Type": "application/json", Accept: accept };
  return call(path, { method: "POST", headers, body: JSON.stringify(body), signal });
}

/** Read a JSON document; throws as post does. */
export async function read(path) {
  const response = await call(path, { headers: { Accept: "application/json" } });
  return jsonOf(response);
}

/** Return the JSON of a response; throws UnreachableError where it is cut off on the way. */
export async function jsonOf(response) {
  try {
    return await response.json();
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new UnreachableError("The answer broke off on the way.");
  }
}

async function call(path, request) {
  const headers = { ...request.headers };
  if (key) headers.Authorization = `Bearer ${key}`;
  let response;
  try {
    response = await fetch(path, { ...request, headers, credentials: "same-origin" });
  } catch (error) {
    if (error.name === "AbortError") throw error;
    throw new UnreachableError("The service does not answer.");
  }
  if (response.ok) return response;
  throw new RefusedError(await problemOf(response), response.status, retryAfter(response));
}

async function problemOf(response) {
  const bare = {
    title: `The service answered with status ${response.status}.`,
    detail: "It gave no reason that this page can read.",
    errors: [],
  };
  if (!(response.headers.get("Content-Type") ?? "").startsWith(PROBLEM)) return bare;
  try {
    return await response.json();
  } catch {
    // Cut off on the way: the status is all that is known.
    return bare;
  }
}

function retryAfter(response) {
  const stated = response.headers.get("Retry-After");
  return stated && /^\d+$/.test(stated) ? Number(stated) : null;
}
