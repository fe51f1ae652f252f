// The entry: the body of the request as it is typed, kept for this tab and told to whoever listens.

import { emptyBody } from "./layout.js";

const KEPT = "loomwright.bench.entry";

/** What a person has entered; "body" is the request as plan-installation takes it. */
export class Entry {
  constructor() {
    this.body = emptyBody();
    this.before = null;
    this.isTouched = false;
    this.listeners = [];
    this.#restore();
  }

  /** Return the request as it is sent, without parts that say nothing. */
  get request() {
    const { pricing, ...rest } = this.body;
    const says = pricing && Object.keys(pricing).length > 0;
    return structuredClone(says ? { ...rest, pricing } : rest);
  }

  /** Call a listener after each change; it is told whether fields came or went. */
  onChange(listener) {
    this.listeners.push(listener);
  }

  /** Tell that something has changed. */
  changed(isStructural = false) {
    this.isTouched = true;
    this.#keep();
    for (const listener of this.listeners) listener(isStructural);
  }

  /** Put another body in the place of this one; the one before can be put back. */
  replace(body) {
    this.before = this.body;
    this.body = body;
    this.changed(true);
  }

  /** Begin anew with an empty job. */
  clear() {
    this.replace(emptyBody());
    this.isTouched = false;
    this.#keep();
  }

  /** Put the body before the last exchange back. */
  putBack() {
    if (this.before) this.replace(this.before);
  }

  #keep() {
    try {
      if (this.isTouched) sessionStorage.setItem(KEPT, JSON.stringify(this.body));
      else sessionStorage.removeItem(KEPT);
    } catch {
      // A browser may forbid storage or have none left: the entry then lives as long as the page.
    }
  }

  #restore() {
    try {
      const kept = JSON.parse(sessionStorage.getItem(KEPT) ?? "null");
      if (kept?.job) {
        this.body = kept;
        this.isTouched = true;
      }
    } catch {
      // As above; and what cannot be read is not an entry.
    }
  }
}

/**
 * Return the request that a text of a file stands for: a request with a job, or a job alone.
 * Throws an Error with the reason in words.
 */
export function bodyOfText(text) {
  let read;
  try {
    read = JSON.parse(text);
  } catch (error) {
    throw new Error(`The file is not JSON: ${error.message}.`);
  }
  if (read === null || typeof read !== "object" || Array.isArray(read)) {
    throw new Error("The file holds no job: it must be one JSON object.");
  }
  const body = "job" in read ? read : { job: read };
  const job = body.job;
  if (job === null || typeof job !== "object" || Array.isArray(job)) {
    throw new Error("The file holds no job: its member job must be an object.");
  }
  // Without these there would be nothing to show fields for.
  const whole = {
    ...job,
    vehicle: job.vehicle ?? {},
    conductors: job.conductors ?? {},
    power_sources: job.power_sources ?? [],
    equipment: job.equipment ?? [],
    circuits: job.circuits ?? [],
  };
  return { ...body, job: whole };
}
