/* What HTMX cannot do: say how old a live part is, keep what is open or focused, send a form once. */
"use strict";
(() => {
  const seen = new WeakMap();
  const renewed = new WeakMap();
  const all = (selector, root = document) => [...root.querySelectorAll(selector)];
  const say = (words) => { document.getElementById("say").textContent = words; };

  /* Live parts. */
  const liveOf = (event) => event.target.closest && event.target.matches(".live") ? event.target : null;
  const at = (live) => live.querySelector("[data-at]").textContent;

  function stale(live, why) {
    const note = live.querySelector("[data-stale]");
    const words = `Not renewed since ${at(live)}: ${why}. What you see may have changed.`;
    live.classList.add("is-stale");
    if (note.textContent !== words) note.textContent = words;
    note.hidden = false;
  }

  function fresh(live, xhr) {
    seen.set(live, xhr.getResponseHeader("Marram-Part"));
    renewed.set(live, Date.now());
    live.querySelector("[data-at]").textContent = xhr.getResponseHeader("Marram-At");
    live.classList.remove("is-stale");
    live.querySelector("[data-stale]").hidden = true;
  }

  /* Typing, or an open list of choices, is never swapped away under somebody's hand. */
  const busy = (live) => {
    const active = document.activeElement;
    return live.contains(active) && active.matches("input:not([type=hidden]), select, textarea");
  };

  document.addEventListener("htmx:beforeRequest", (event) => {
    const live = liveOf(event);
    if (live && (document.hidden || busy(live))) event.preventDefault();
  });
  document.addEventListener("htmx:configRequest", (event) => {
    const live = liveOf(event);
    if (live && seen.get(live)) event.detail.headers["Marram-Seen"] = seen.get(live);
  });
  document.addEventListener("htmx:beforeSwap", (event) => {
    const live = event.target.closest(".live");
    if (!live || event.detail.requestConfig.elt !== live) return;
    if (!event.detail.xhr.getResponseHeader("Marram-Part")) {
      event.detail.shouldSwap = false;
      return;
    }
    live.openBefore = all("details[open][id]", live).map((each) => each.id);
  });
  document.addEventListener("htmx:afterRequest", (event) => {
    const live = liveOf(event);
    if (!live) return;
    const { xhr, failed } = event.detail;
    if (xhr.getResponseHeader("Marram-Part")) {
      fresh(live, xhr);
      (live.openBefore || []).forEach((id) => { const box = document.getElementById(id); if (box) box.open = true; });
    } else if (xhr.status === 0) stale(live, "no connection");
    else stale(live, failed ? `the service answered ${xhr.status}` : "you are signed out; sign in again");
  });
  setInterval(() => all(".live").forEach((live) => {
    const last = renewed.get(live);
    if (last && !document.hidden && !busy(live) && Date.now() - last > 4000 * live.dataset.every) stale(live, "the service is slow to answer");
  }), 1000);
  const renewAll = () => all(".live").forEach((live) => htmx.trigger(live, "renew"));
  document.addEventListener("visibilitychange", () => { if (!document.hidden) renewAll(); });
  addEventListener("online", renewAll);
  addEventListener("offline", () => all(".live").forEach((live) => stale(live, "no connection")));

  /* A form is sent once: a second tap within the same page does nothing. */
  document.addEventListener("submit", (event) => {
    const form = event.target;
    if (form.method !== "post" || event.defaultPrevented) return;
    if (form.dataset.sent) event.preventDefault();
    form.dataset.sent = "1";
  });
  addEventListener("pageshow", () => all("form[data-sent]").forEach((form) => { delete form.dataset.sent; }));
  document.addEventListener("htmx:afterRequest", (event) => { if (event.target.dataset) delete event.target.dataset.sent; });

  /* After a swap that a person asked for, say how it ended to those who do not see it. */
  document.addEventListener("htmx:afterSettle", (event) => {
    const words = event.target.querySelector && event.target.querySelector("[data-say]");
    if (words) say(words.textContent);
  });
})();
