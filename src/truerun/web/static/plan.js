// The numbers beside the plan: reckoned by truerun whenever the form changes.
"use strict";
(function () {
  const form = document.getElementById("plan");
  const shown = document.getElementById("figures");
  let timer = 0, asked = 0;

  function show(answer) {
    shown.querySelectorAll("[data-figure]").forEach((each) => {
      const value = each.dataset.figure === "why" ? answer.why : answer.figures && answer.figures[each.dataset.figure];
      each.textContent = value || (each.dataset.figure === "why" ? "" : "–");
    });
  }

  async function reckon() {
    const mine = ++asked;
    shown.classList.add("busy");
    try {
      const answer = await fetch(form.dataset.figures, {
        method: "POST", credentials: "same-origin",
        headers: { "content-type": "application/json", accept: "application/json" },
        body: JSON.stringify(Object.fromEntries(new FormData(form))),
      });
      const told = await answer.json();
      if (mine === asked) show(answer.ok ? told : { figures: null, why: told.sentence });
    } catch {
      if (mine === asked) show({ figures: null, why: "truerun does not answer." });
    }
    if (mine === asked) shown.classList.remove("busy");
  }

  form.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(reckon, 350); });
  reckon();
})();
