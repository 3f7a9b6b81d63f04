// Rigger and witness: the page is loaded anew when the logbook went on, and nothing waits to be sent.
"use strict";
(function () {
  const main = document.getElementById("main"), box = window.truerunOutbox;
  const { mark, slot, run } = main.dataset;
  const byId = (id) => document.getElementById(id);

  async function look() {
    try {
      const answer = await fetch("/p/now", { headers: { accept: "application/json" }, credentials: "same-origin" });
      if (answer.status === 401) return location.reload();
      if (answer.ok && String((await answer.json()).mark) !== mark && !box.waiting()) return location.reload();
    } catch { /* asked again */ }
    return setTimeout(look, 1000);
  }
  setTimeout(look, 1000);

  const ready = byId("ready");
  if (ready) {
    ready.addEventListener("click", () => {
      ready.disabled = true;
      box.put("/p/observe", { what: "begin", slot: Number(slot) });
    });
    ready.disabled = false; // until here nobody would hear a press
  }
  const wrong = byId("wrong");
  if (wrong) wrong.addEventListener("submit", (event) => {
    event.preventDefault();
    wrong.hidden = true;
    box.put("/p/observe", { what: "wrong", run, kind: wrong.elements.kind.value, seen: false });
  });
})();
