// Asking as a person types: not at every key, never with an answer of before, again when all is up.

import { RefusedError, UnreachableError } from "./service.js";

const QUIET_MS = 300;
const SLOW_MS = 400;
const FIRST_WAIT_S = 1;
const LONGEST_WAIT_S = 30;
// What another try may mend.
const PASSING = new Set([429, 502, 503, 504]);

/** Asks for the entry as it stands, and tells what becomes of it. */
export class Live {
  /**
   * "ask" takes an abort signal and returns a promise of the answer. "tell" has working(), answered(),
   * refused(error), waiting(seconds, error) and failed(error).
   */
  constructor(ask, tell) {
    this.ask = ask;
    this.tell = tell;
    this.controller = null;
    this.timer = null;
    this.waitS = FIRST_WAIT_S;
  }

  /** The entry has changed: ask once nothing has changed for a moment. */
  changed() {
    this.waitS = FIRST_WAIT_S;
    this.#after(QUIET_MS);
  }

  /** Ask at once. */
  now() {
    this.#after(0);
  }

  /** Ask for nothing any more, and drop what is under way. */
  stop() {
    clearTimeout(this.timer);
    this.controller?.abort();
    this.controller = null;
  }

  #after(delayMs) {
    clearTimeout(this.timer);
    this.timer = setTimeout(() => this.#run(), delayMs);
  }

  async #run() {
    this.controller?.abort();
    const controller = new AbortController();
    this.controller = controller;
    const slow = setTimeout(() => this.tell.working(), SLOW_MS);
    const isStale = () => this.controller !== controller;
    try {
      const answer = await this.ask(controller.signal);
      if (isStale()) return;
      this.waitS = FIRST_WAIT_S;
      this.tell.answered(answer);
    } catch (error) {
      if (isStale() || error.name === "AbortError") return;
      this.#failed(error);
    } finally {
      clearTimeout(slow);
    }
  }

  #failed(error) {
    const isPassing = error instanceof RefusedError && PASSING.has(error.status);
    if (error instanceof UnreachableError || isPassing) {
      const waitS = Math.max(error.retryAfterS ?? 0, this.waitS);
      this.waitS = Math.min(2 * this.waitS, LONGEST_WAIT_S);
      this.tell.waiting(waitS, error);
      this.#after(1000 * waitS);
    } else if (error instanceof RefusedError) {
      this.tell.refused(error);
    } else {
      this.tell.failed(error);
      throw error;
    }
  }
}
