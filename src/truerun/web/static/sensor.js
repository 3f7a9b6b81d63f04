// The page of the sensor: what it says is asked for again and again while the page is looked at.
"use strict";
(function () {
  const EVERY = 400; // ms
  const byId = (id) => document.getElementById(id);
  const address = byId("sensor").dataset.now;

  function put(id, words) {
    if (byId(id).textContent !== words) byId(id).textContent = words; // a change is read out, the same words are not
  }

  async function look() {
    if (document.hidden) return;
    try {
      const answer = await fetch(address, { headers: { accept: "application/json" } });
      const told = await answer.json();
      if (!told.open) { location.reload(); return; }
      for (const name of ["speed", "passes", "check", "trouble"]) put(name, told.shown[name]);
      byId("blink").classList.toggle("on", told.shown.seen);
    } catch {
      put("trouble", "truerun does not answer. Is it still running?");
    }
  }

  async function again() {
    await look();
    setTimeout(again, EVERY);
  }
  again();
})();
