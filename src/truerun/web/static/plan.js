// The numbers beside the plan, and what other sizes and orders would do: reckoned by truerun whenever the form changes.
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

  // a plan that can never decide: why, and the smallest changes that would mend it, each one touch
  function tell(dead) {
    const box = document.getElementById("deadend");
    if (!dead) { box.replaceChildren(); return; }
    if (box.querySelector("span") && box.querySelector("span").textContent === dead.why) return;
    const why = document.createElement("p"), ways = document.createElement("ul");
    const mark = document.getElementById("stopmark").content.cloneNode(true), words = document.createElement("span");
    words.textContent = dead.why;
    why.className = "deadwhy";
    why.append(mark, words);
    ways.className = "waysout";
    ways.append(...dead.ways.map((way, place) => {
      const line = document.createElement("li"), button = document.createElement("button"), gives = document.createElement("span");
      button.className = place ? "btn" : "btn first";
      button.name = "change";
      button.value = new URLSearchParams(way.changes).toString();
      button.textContent = way.words;
      gives.className = "small";
      gives.textContent = way.gives;
      line.append(button, gives);
      return line;
    }));
    box.replaceChildren(why, ways);
  }

  function change(said) {
    for (const [name, value] of new URLSearchParams(said)) form.elements[name].value = value;
    document.getElementById("deadend").replaceChildren();
    // what was said of the plan before is not left standing beside the figures of this one
    form.querySelectorAll(".trade").forEach((each) => each.classList.add("anew"));
    form.querySelector("input[name=runs]:checked").focus();
    reckon();
  }

  function fill(id, rows) {
    const box = document.getElementById(id);
    box.hidden = !rows.length;
    box.classList.remove("anew");
    const heads = [...box.querySelectorAll("thead th")];
    heads.forEach((head, place) => { head.hidden = rows.every((row) => !row.cells[place]); });
    box.querySelector("tbody").replaceChildren(...rows.map((row) => {
      const line = document.createElement("tr");
      row.cells.forEach((text, place) => {
        const cell = document.createElement(place ? "td" : "th");
        if (!place) cell.scope = "row";
        cell.className = heads[place].className;
        cell.hidden = heads[place].hidden;
        cell.textContent = text;
        line.append(cell);
      });
      if (row.chosen) { line.className = "chosen"; line.firstChild.append(" (chosen)"); }
      return line;
    }));
  }

  async function ask(address) {
    const answer = await fetch(address, {
      method: "POST", credentials: "same-origin",
      headers: { "content-type": "application/json", accept: "application/json" },
      body: JSON.stringify(Object.fromEntries(new FormData(form))),
    });
    return { ok: answer.ok, told: await answer.json() };
  }

  async function reckon() {
    const mine = ++asked;
    shown.classList.add("busy");
    try {
      const answer = await ask(form.dataset.figures);
      if (mine === asked) show(answer.ok ? answer.told : { figures: null, why: answer.told.sentence });
      if (mine === asked && answer.ok) tell(answer.told.dead);
    } catch {
      if (mine === asked) show({ figures: null, why: "truerun does not answer." });
    }
    if (mine === asked) shown.classList.remove("busy");
    if (mine !== asked) return;
    try {
      const answer = await ask(form.dataset.trade);
      if (mine !== asked || !answer.ok) return;
      fill("sizes", answer.told.sizes);
      fill("sets", answer.told.sets);
      document.getElementById("stops").textContent = answer.told.stops;
    } catch { /* the figures above have said it */ }
  }

  form.addEventListener("click", (event) => {
    const way = event.target.closest("button[name=change]");
    if (way) { event.preventDefault(); change(way.value); }
  });
  form.addEventListener("input", () => { clearTimeout(timer); timer = setTimeout(reckon, 350); });
  reckon();
})();
