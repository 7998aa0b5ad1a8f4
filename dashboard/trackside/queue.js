/* Hands over what waits, each entry under an id of its own: however often it is sent, it is taken once. */
"use strict";
const Queue = (() => {
  const FIRST_WAIT = 4000, LONGEST_WAIT = 300000, PATIENCE = 15000;
  const inHand = new Set();
  const others = "BroadcastChannel" in window ? new BroadcastChannel("pack-tracker-log") : null;
  const state = { reached: null, signedOut: false, holding: null };
  let wait = FIRST_WAIT, timer = null, busy = false, told = () => {};

  const newId = () => {
    if (crypto.randomUUID) return crypto.randomUUID();
    // Over plain http there is no randomUUID.
    const bytes = crypto.getRandomValues(new Uint8Array(16));
    bytes[6] = (bytes[6] & 15) | 64;
    bytes[8] = (bytes[8] & 63) | 128;
    const digits = [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
    return digits.replace(/^(.{8})(.{4})(.{4})(.{4})/, "$1-$2-$3-$4-");
  };

  /* Asks the program; status 0 means it could not be reached. */
  const ask = async (address, request, stopper = new AbortController()) => {
    const late = setTimeout(() => stopper.abort(), PATIENCE);
    try {
      const answer = await fetch(address, { ...request, headers: { Accept: "application/json", ...request.headers }, signal: stopper.signal });
      // Whoever is signed out gets the sign-in page where the script expects something else.
      const status = answer.redirected ? 401 : answer.status;
      const body = (answer.headers.get("Content-Type") || "").startsWith("application/json") ? await answer.json() : {};
      state.reached = true;
      if (status === 401 || status === 403) state.signedOut = true;
      else if (status < 500) state.signedOut = false;
      return { status, body };
    } catch {
      if (!stopper.signal.aborted || !request.fleeting) state.reached = false;
      return { status: 0, body: {} };
    } finally {
      clearTimeout(late);
    }
  };

  const json = (method, entry) => ({
    method,
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ kind: entry.kind, at: entry.at, texts: entry.texts }),
  });

  const changed = () => {
    told();
    others?.postMessage("changed");
  };

  /* Asking again would bring the same answer. */
  const isFinal = (status) => status >= 400 && status < 500 && ![401, 403, 408, 429].includes(status);

  /* Sends one entry and notes what became of it. */
  const deliver = async (entry) => {
    inHand.add(entry.id);
    try {
      const answer = await ask(`/log/entries/${entry.id}`, json("PUT", entry));
      const { status, body } = answer;
      if (status === 200 || status === 201) await Store.drop(entry.id);
      else if (status === 409) await Store.change(entry.id, { state: "differs", said: body.words });
      else if (isFinal(status))
        await Store.change(entry.id, { state: "refused", said: body.words || "The program did not take this entry.", problems: body.problems });
      return answer;
    } finally {
      inHand.delete(entry.id);
      changed();
    }
  };

  const later = () => {
    clearTimeout(timer);
    timer = setTimeout(handOver, wait);
    wait = Math.min(wait * 2, LONGEST_WAIT);
  };

  const waiting = async () => {
    try {
      return (await Store.all()).filter((entry) => entry.state === "waiting" && entry.id !== state.holding && !inHand.has(entry.id));
    } catch {
      // A browser that keeps nothing has nothing to hand over.
      return [];
    }
  };

  const handOver = async () => {
    if (busy) return;
    busy = true;
    clearTimeout(timer);
    try {
      for (const entry of await waiting()) {
        const { status } = await deliver(entry);
        if (status === 0 || status >= 500 || status === 401 || status === 403) break;
      }
      if ((await waiting()).length) later();
      else wait = FIRST_WAIT;
    } finally {
      busy = false;
      told();
    }
  };

  /* Something has happened that may have brought the connection back. */
  const atOnce = () => {
    wait = FIRST_WAIT;
    return handOver();
  };

  window.addEventListener("online", atOnce);
  window.addEventListener("offline", () => {
    state.reached = false;
    told();
  });
  document.addEventListener("visibilitychange", () => document.visibilityState === "visible" && atOnce());
  if (others) others.onmessage = () => told();

  return { newId, ask, json, deliver, isFinal, atOnce, later, changed, state, onChange: (listener) => (told = listener) };
})();
