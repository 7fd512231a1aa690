// What the page can do beyond reading and logging: count down, tell its age, look again by itself, and keep a copy.
"use strict";

(() => {
  const MINUTE = 60000;
  const OLD = 20 * MINUTE;
  const LOOK_AGAIN = MINUTE;
  const KEEP_AGAIN = 10 * MINUTE;
  const body = () => document.body;

  const span = (ms) => {
    const minutes = Math.max(0, Math.floor(ms / MINUTE));
    if (minutes >= 2880) {
      const hours = Math.round(minutes / 60);
      return `${Math.floor(hours / 24)} d ${hours % 24} h`;
    }
    const hours = Math.floor(minutes / 60);
    if (!hours) return `${minutes} min`;
    return minutes % 60 ? `${hours} h ${minutes % 60} min` : `${hours} h`;
  };

  const countDown = () => {
    if (body().dataset.live !== "yes") return; // an imagined clock: the times stand as they are
    const now = Date.now();
    for (const place of document.querySelectorAll("[data-until]")) {
      const left = Date.parse(place.dataset.until) - now;
      place.textContent = left > 0 ? `${span(left)} ${place.dataset.untilText}` : "that is past: look again";
    }
    for (const place of document.querySelectorAll("[data-age-of]")) {
      const age = now - Date.parse(place.dataset.ageOf);
      place.firstChild.textContent = age < MINUTE ? "Looked just now, " : `Looked ${span(age)} ago, `;
    }
    const seen = Date.parse(body().dataset.now);
    const banner = document.getElementById("old");
    const isOld = now - seen > OLD;
    document.documentElement.classList.toggle("aged", isOld);
    if (banner) {
      banner.hidden = !isOld;
      banner.textContent = isOld ? `This page is ${span(now - seen)} old, and the daemon is out of reach. Do not go by it.` : "";
    }
  };

  const lookAgain = async () => {
    const main = document.querySelector("main");
    const inUse = main.querySelector("details[open]") || (main.contains(document.activeElement) && document.activeElement !== main);
    if (document.hidden || inUse || !main.querySelector(".cards")) return;
    try {
      const answer = await fetch(location.pathname, { headers: { Accept: "text/html" } });
      if (!answer.ok || answer.redirected) return;
      const fresh = new DOMParser().parseFromString(await answer.text(), "text/html");
      if (!fresh.querySelector(".cards") || fresh.body.dataset.at < body().dataset.at) return;
      const same = fresh.body.dataset.at === body().dataset.at && fresh.body.dataset.now === body().dataset.now;
      if (same) return;
      main.replaceChildren(...fresh.querySelector("main").childNodes);
      document.querySelector(".age").replaceChildren(...fresh.querySelector(".age").childNodes);
      Object.assign(body().dataset, { at: fresh.body.dataset.at, now: fresh.body.dataset.now, live: fresh.body.dataset.live });
      countDown();
    } catch {
      // Out of reach: the age says so.
    }
  };

  const keepCopy = async () => {
    if (!("serviceWorker" in navigator)) return;
    try {
      const root = body().dataset.root;
      await navigator.serviceWorker.register(`${root}/worker.js`, { scope: `${root}/` });
      const { active } = await navigator.serviceWorker.ready;
      if (Date.now() - Number(sessionStorage.getItem("kept")) > KEEP_AGAIN) {
        active.postMessage({ keep: ["/", "/outlook", "/plan", "/record", "/material"].map((path) => root + path) });
        sessionStorage.setItem("kept", String(Date.now()));
      }
    } catch {
      // Not over a plain address of another machine: browsers keep copies only of what comes by https.
    }
  };

  document.addEventListener("submit", (event) => {
    if (!event.target.matches("[data-once]")) return;
    // After the event, so that the button that was pressed is still sent.
    setTimeout(() => { for (const button of event.target.querySelectorAll("button")) button.disabled = true; });
  });
  addEventListener("pageshow", () => { for (const button of document.querySelectorAll("[data-once] button")) button.disabled = false; });

  countDown();
  setInterval(countDown, 10000);
  setInterval(lookAgain, LOOK_AGAIN);
  document.addEventListener("visibilitychange", lookAgain);
  addEventListener("load", keepCopy);
})();
