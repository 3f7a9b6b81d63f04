// Keys of every page: "?" opens the list, "g" and a letter goes to a page. Single keys can be switched off.
"use strict";
(function () {
  const KEPT = "truerun.single-keys";
  const places = { t: "/", l: "/look" };
  const road = document.querySelector(".road");
  if (road) {
    const base = road.dataset.base;
    Object.assign(places, {
      c: base + "/claim", a: base + "/agreement", p: base + "/plan",
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
      location.assign("/keys");
    }
  });

  const box = document.getElementById("single-keys");
  if (box) {
    box.checked = window.truerunKeys.on();
    box.addEventListener("change", () => localStorage.setItem(KEPT, box.checked ? "on" : "off"));
  }
})();
