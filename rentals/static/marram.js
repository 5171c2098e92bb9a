/* What HTMX cannot do. In a page: say how old a live part is, keep what is open or focused, send a form once,
   send what was kept. As a service worker: keep the sheet of checks that are due, and a check that could not be
   sent: its key, ids, ticks and what was typed. No name, no phone number. */
"use strict";

const CHECK = /\/outings\/\d+\/(launch|return)-check\/$/, LEAVING = /\/(sign-out|hand-over)\/$/;
const READY = "/checks-ready/", PATIENCE_MS = 10000;

const kept = (act) => new Promise((done, fail) => {
  const open = indexedDB.open("marram", 1);
  open.onupgradeneeded = () => {
    open.result.createObjectStore("waiting", { keyPath: "once" });
    open.result.createObjectStore("who");
  };
  open.onerror = fail;
  open.onsuccess = () => {
    const { result } = open, run = result.transaction(["waiting", "who"], "readwrite");
    const asked = act(run.objectStore("waiting"), run.objectStore("who"));
    run.oncomplete = () => { result.close(); done(asked?.result); };
    run.onabort = () => { result.close(); fail(run.error); };
  };
});

if ("ServiceWorkerGlobalScope" in self) worker(); else page();

function worker() {
  addEventListener("install", () => skipWaiting());
  addEventListener("activate", (event) => event.waitUntil(clients.claim()));
  addEventListener("fetch", (event) => {
    const { request } = event, { origin, pathname } = new URL(request.url);
    if (origin !== location.origin) return;
    if (pathname === READY) event.respondWith(keepReady(request));
    else if (request.mode === "navigate") {
      if (request.method === "GET") event.respondWith(fetch(request).catch(CHECK.test(pathname) ? sheet : noConnection));
      else if (CHECK.test(pathname)) event.respondWith(sendOrKeep(request, pathname));
      else if (LEAVING.test(pathname)) event.waitUntil(drop());
    } else if (pathname.includes("/static/")) {
      event.respondWith(fetch(request).catch(() => caches.match(request).then((found) => found || Response.error())));
    }
  });

  let left = 0;
  const drop = () => { left += 1; return caches.delete("ready"); };

  /* Signed out, the answer leads elsewhere; one under way meanwhile comes too late. */
  async function keepReady(request) {
    const before = left;
    try {
      const answer = await fetch(request);
      if (answer.redirected) await drop();
      else if (answer.ok && left === before) await (await caches.open("ready")).put(READY, answer.clone());
      return answer;
    } catch {
      return sheet();
    }
  }

  async function sendOrKeep(request, url) {
    const copy = request.clone();
    try {
      const answer = await Promise.race([fetch(request), new Promise((_, fail) => setTimeout(fail, PATIENCE_MS))]);
      if (answer.status !== 403) return answer;
    } catch {}
    const fields = [...await copy.formData()].filter(([name]) => name !== "csrfmiddlewaretoken");
    const { once } = Object.fromEntries(fields), user = await kept((_, who) => who.get("user"));
    await kept((waiting) => waiting.put({ once, url, fields, user, ticked: Date.now() }));
    return noConnection();
  }

  const noConnection = () => caches.match("kept.html");
  const sheet = async () => await caches.match(READY, { ignoreVary: true }) || noConnection();
}

function page() {
  const all = (selector, root = document) => [...root.querySelectorAll(selector)];
  const byId = (id) => document.getElementById(id);
  const on = (name, act) => document.addEventListener(name, act);
  const say = (words) => { byId("say").textContent = words; };

  /* Live parts. */
  const liveOf = ({ target }) => target.matches?.(".live") && target;

  function stale(live, why) {
    const note = live.querySelector("[data-stale]"), at = live.querySelector("[data-at]").textContent;
    const words = `Not renewed since ${at}: ${why}. What you see may have changed.`;
    live.classList.add("is-stale");
    if (note.textContent !== words) note.textContent = words;
    note.hidden = false;
  }

  /* Typing, or an open list of choices, is never swapped away under somebody's hand. */
  const busy = (live) => {
    const active = document.activeElement;
    return live.contains(active) && active.matches("input, select, textarea");
  };

  on("htmx:beforeRequest", (event) => {
    const live = liveOf(event);
    if (live && (document.hidden || busy(live))) event.preventDefault();
  });
  on("htmx:configRequest", (event) => {
    const live = liveOf(event);
    if (live?.seen) event.detail.headers["Marram-Seen"] = live.seen;
  });
  on("htmx:beforeSwap", ({ target, detail }) => {
    const live = target.closest(".live");
    if (!live || detail.requestConfig.elt !== live) return;
    if (detail.xhr.getResponseHeader("Marram-Part")) live.openBefore = all("details[open][id]", live).map((each) => each.id);
    else detail.shouldSwap = false;
  });
  on("htmx:afterRequest", (event) => {
    const live = liveOf(event);
    if (!live) return;
    const { xhr, failed } = event.detail, header = (name) => xhr.getResponseHeader(`Marram-${name}`), part = header("Part");
    if (part) {
      Object.assign(live, { seen: part, renewed: Date.now() });
      live.querySelector("[data-at]").textContent = header("At");
      live.classList.remove("is-stale");
      live.querySelector("[data-stale]").hidden = true;
      (live.openBefore || []).forEach((id) => byId(id)?.setAttribute("open", ""));
    } else if (xhr.status === 0) stale(live, "no connection");
    else stale(live, failed ? `the service answered ${xhr.status}` : "you are signed out; sign in again");
  });
  setInterval(() => all(".live").forEach((live) => {
    const slow = Date.now() - live.renewed > 4000 * live.dataset.every;
    if (slow && !document.hidden && !busy(live)) stale(live, "the service is slow to answer");
  }), 1000);
  const renewAll = () => { if (!document.hidden) all(".live").forEach((live) => htmx.trigger(live, "renew")); };
  on("visibilitychange", renewAll);
  addEventListener("online", renewAll);
  addEventListener("offline", () => all(".live").forEach((live) => stale(live, "no connection")));

  /* A form is sent once: a second tap within the same page does nothing. */
  on("submit", (event) => {
    const { method, dataset } = event.target;
    if (method !== "post" || event.defaultPrevented) return;
    if (dataset.sent) event.preventDefault();
    dataset.sent = "1";
  });
  addEventListener("pageshow", () => all("form[data-sent]").forEach((form) => { delete form.dataset.sent; }));
  on("htmx:afterRequest", ({ target }) => { delete target.dataset?.sent; });

  /* After a swap that a person asked for, say how it ended to those who do not see it. */
  on("htmx:afterSettle", (event) => {
    const words = event.target.querySelector?.("[data-say]");
    if (words) say(words.textContent);
  });

  /* Checks kept without a connection: shown as waiting, sent once by the form's own key. */
  const box = byId("waiting"), { user } = document.body.dataset;
  const make = (tag, textContent, more) => Object.assign(document.createElement(tag), { textContent, ...more });
  const ofCheck = (url) => all(`[data-url="${url}"]`);

  async function show() {
    const rows = await kept((waiting) => waiting.getAll());
    box.hidden = !rows.length;
    box.replaceChildren(...rows.map(({ url, user: by, once, ticked, refused }) => {
      const [, outing, kind] = url.match(/(\d+)\/(\w)\w+-check/), at = new Date(ticked).toTimeString().slice(0, 5);
      const state = refused ? "the service did not take it. " : user && by !== user ? "sign in as before to send it." : "waiting to be sent.";
      const line = make("p", `${kind === "l" ? "Launch" : "Return"} check of outing ${outing}, ticked ${at}: ${state}`);
      const forget = () => kept((waiting) => waiting.delete(once)).then(show);
      if (refused) line.append(make("a", "Look at it anew", { href: url }), " ", make("button", "Forget it", { className: "plain", onclick: forget }));
      ofCheck(url).forEach((due) => { due.hidden = true; });
      return line;
    }));
    return rows;
  }

  async function send(row) {
    /* The page brings a fresh token, and shows whether whoever ticked it is signed in. A redirect, to sign in,
       is not followed: its cookie would make another sign-in page's token void. */
    const sheet = await (await fetch(row.url, { redirect: "manual" })).text(), token = sheet.match(/csrfmiddlewaretoken" value="([^"]+)/);
    if (!token || !sheet.includes(`data-user="${row.user}"`)) return;
    const waited = Math.round((Date.now() - row.ticked) / 1000);
    const body = new URLSearchParams([...row.fields, ["waited_s", waited], ["csrfmiddlewaretoken", token[1]]]);
    const answer = await fetch(row.url, { method: "POST", body });
    if (answer.url.includes("/sign-in/")) return;
    if (answer.ok) await kept((waiting) => waiting.delete(row.once));
    else if (answer.status < 500 && answer.status !== 429) await kept((waiting) => waiting.put({ ...row, refused: answer.status }));
  }

  const sendAll = () => navigator.locks.request("marram-send", { ifAvailable: true }, async (lock) => {
    const rows = lock ? await show() : [], mine = rows.filter((row) => !row.refused);
    for (const row of mine) await send(row).catch(() => {});
    if (mine.length && (await show()).length < rows.length) say("Sent what was waiting.");
  });

  ofCheck(location.pathname).forEach((due) => { due.open = true; due.scrollIntoView(); });
  if (box && "serviceWorker" in navigator) {
    const own = document.querySelector("script[src*=marram]").src;
    navigator.serviceWorker.register(own, { scope: "/" });
    caches.open("marram").then((cache) => cache.addAll(["kept.html", "marram.css", "marram.js"].map((name) => new URL(name, own))));
    if (user) kept((_, who) => { who.put(user, "user"); });
    sendAll();
    addEventListener("online", sendAll);
    on("visibilitychange", sendAll);
    setInterval(sendAll, 15000);
  }
}
