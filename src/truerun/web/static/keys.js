// Keys of every page: "?" opens the list, "g" and a letter goes to a page. Single keys can be switched off.
"use strict";
(function () {
  const KEPT = "truerun.single-keys";
  const places = { t: "/", l: "/look" };
  const road = document.querySelector(".road");
  if (road) {
    const base = road.dataset.base;
    Object.assign(places, {
      c: base + "/claim", a: base + "/agreement", p: base + "/plan", w: base + "/rig",
      r: base + "/runs", v: base + "/verdict", e: base + "/report",
    });
  }
  let going = false;

  window.truerunKeys = {
    on: () => localStorage.getItem(KEPT) !== "off",
    typing: (target) => Boolean(target.closest("input:not([type=radio]):not([type=checkbox]),textarea,select")),
  };

  document.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.altKey || event.metaKey || event.repeat) return;
    if (!window.truerunKeys.on() || window.truerunKeys.typing(event.target)) return;
    if (document.body.dataset.state === "timing") return; // nothing leads away from a running watch
    if (going) {
      going = false;
      if (places[event.key]) location.assign(places[event.key]);
    } else if (event.key === "g") {
      going = true;
      setTimeout(() => { going = false; }, 1500);
    } else if (event.key === "?") {
      event.preventDefault();
      layer();
    }
  });

  function choose(box) {
    if (!box) return;
    box.checked = window.truerunKeys.on();
    box.addEventListener("change", () => localStorage.setItem(KEPT, box.checked ? "on" : "off"));
  }

  // the list of keys as a layer over the page; Esc or its button closes it
  async function layer() {
    if (location.pathname === "/keys") return;
    let dialog = document.getElementById("keys-layer");
    if (!dialog) {
      const found = await fetch("/keys").then((answer) => (answer.ok ? answer.text() : null)).catch(() => null);
      if (found === null) { location.assign("/keys"); return; }
      dialog = document.createElement("dialog");
      dialog.id = "keys-layer";
      dialog.setAttribute("aria-label", "Keys");
      dialog.append(...new DOMParser().parseFromString(found, "text/html").getElementById("main").children);
      const close = document.createElement("button");
      close.type = "button"; close.className = "btn first"; close.textContent = "Close";
      close.addEventListener("click", () => dialog.close());
      dialog.append(close);
      const title = dialog.querySelector("h1"); // the list begins at its title, not at the first thing that takes focus
      title.tabIndex = -1; title.autofocus = true;
      document.body.append(dialog);
      choose(dialog.querySelector("#single-keys"));
    }
    if (!dialog.open) dialog.showModal();
  }

  document.addEventListener("click", (event) => {
    if (!event.target.closest("[data-keys]") || event.ctrlKey || event.metaKey || event.button) return;
    event.preventDefault();
    layer();
  });
  choose(document.getElementById("single-keys"));
})();
