/* What HTMX cannot do. As a page's script: say how old a live part is, keep what is open or focused, send a
   form once, send what was kept. As a service worker: keep a check that could not be sent. Only the form's
   key, ids, ticks and what was typed into it are kept; no page, no name, no phone number. */
"use strict";

const CHECK = /\/outings\/\d+\/(launch|return)-check\/$/;
const PATIENCE_MS = 10000;

function kept(mode, act) {
  return new Promise((done, fail) => {
    const open = indexedDB.open("marram", 1);
    open.onupgradeneeded = () => {
      open.result.createObjectStore("waiting", { keyPath: "once" });
      open.result.createObjectStore("who");
    };
    open.onerror = () => fail(open.error);
    open.onsuccess = () => {
      const run = open.result.transaction(["waiting", "who"], mode);
      const asked = act(run.objectStore("waiting"), run.objectStore("who"));
      run.oncomplete = () => { open.result.close(); done(asked && asked.result); };
      run.onerror = run.onabort = () => { open.result.close(); fail(run.error); };
    };
  });
}

if ("ServiceWorkerGlobalScope" in self) worker(); else page();

function worker() {
  addEventListener("install", () => skipWaiting());
  addEventListener("activate", (event) => event.waitUntil(clients.claim()));
  addEventListener("fetch", (event) => {
    const { request } = event, url = new URL(request.url);
    if (url.origin !== location.origin) return;
    if (request.mode === "navigate") {
      if (request.method === "POST" && CHECK.test(url.pathname)) event.respondWith(sendOrKeep(request, url));
      else if (request.method === "GET") event.respondWith(fetch(request).catch(noConnection));
    } else if (url.pathname.includes("/static/")) {
      event.respondWith(fetch(request).catch(() => caches.match(request).then((found) => found || Response.error())));
    }
  });

  async function sendOrKeep(request, url) {
    const copy = request.clone();
    try {
      return await Promise.race([fetch(request), new Promise((_, fail) => setTimeout(fail, PATIENCE_MS))]);
    } catch {
      const fields = [...await copy.formData()].filter(([name]) => name !== "csrfmiddlewaretoken");
      const once = Object.fromEntries(fields).once || crypto.randomUUID(), at = new Date().toTimeString().slice(0, 5);
      const user = await kept("readonly", (_, who) => who.get("user"));
      await kept("readwrite", (waiting) => waiting.put({ once, url: url.pathname, fields: [...fields.filter(([name]) => name !== "once"), ["once", once]], user, at }));
      return noConnection();
    }
  }

  const noConnection = () => caches.match(new URL("kept.html", location));
}

function page() {
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

  /* Checks kept without a connection: shown as waiting, sent once with the form's own key. */
  const box = document.getElementById("waiting"), user = document.body.dataset.user;

  async function show() {
    const rows = await kept("readonly", (waiting) => waiting.getAll());
    box.hidden = !rows.length;
    box.replaceChildren(...rows.map((row) => {
      const line = document.createElement("p"), [, outing, kind] = row.url.match(/outings\/(\d+)\/(\w+)/);
      line.append(`${kind === "launch" ? "Launch" : "Return"} check of outing ${outing}, ticked ${row.at}: `);
      line.append(row.refused ? "the service did not take it. " : user && row.user !== user ? "sign in as before to send it." : "waiting to be sent.");
      if (row.refused) {
        const look = document.createElement("a"), drop = document.createElement("button");
        look.href = row.url;
        look.textContent = "Look at it anew";
        drop.className = "plain";
        drop.textContent = "Forget it";
        drop.onclick = () => kept("readwrite", (waiting) => waiting.delete(row.once)).then(show);
        line.append(look, " ", drop);
      }
      return line;
    }));
    return rows;
  }

  async function send(row) {
    /* The page brings a fresh token, and shows whether whoever ticked it is signed in. Values stay as they
       were: the service counts a key once, and refuses it with others. A redirect, to sign in, is not
       followed: its cookie would make another sign-in page's token void. */
    const sheet = await (await fetch(row.url, { redirect: "manual" })).text(), token = sheet.match(/name="csrfmiddlewaretoken" value="([^"]+)"/);
    if (!token || !sheet.includes(`data-user="${row.user}"`)) return;
    const fields = new URLSearchParams([...row.fields, ["csrfmiddlewaretoken", token[1]]]);
    const answer = await fetch(row.url, { method: "POST", body: fields });
    if (answer.url.includes("/sign-in/")) return;
    if (answer.ok) await kept("readwrite", (waiting) => waiting.delete(row.once));
    else if (answer.status < 500 && answer.status !== 429) await kept("readwrite", (waiting) => waiting.put({ ...row, refused: answer.status }));
  }

  const sendAll = () => navigator.locks.request("marram-send", { ifAvailable: true }, async (lock) => {
    const rows = lock ? await show() : [];
    const mine = rows.filter((row) => !row.refused);
    for (const row of mine) await send(row).catch(() => {});
    if (mine.length && (await show()).length < rows.length) say("Sent what was waiting.");
  });

  if (box && "serviceWorker" in navigator) {
    const own = document.querySelector("script[src*=marram]").src;
    navigator.serviceWorker.register(own, { scope: "/" });
    caches.open("marram").then((cache) => cache.addAll(["kept.html", "marram.css", "marram.js"].map((name) => new URL(name, own))));
    if (user) kept("readwrite", (_, who) => { who.put(user, "user"); });
    sendAll();
    addEventListener("online", sendAll);
    document.addEventListener("visibilitychange", sendAll);
    setInterval(sendAll, 15000);
  }
}
