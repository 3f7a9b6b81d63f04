// Look first: the watch fills the next empty place. The times are kept in this tab until the look is left.
"use strict";
(function () {
  const KEPT = "truerun.look";
  const byId = (id) => document.getElementById(id);
  const form = byId("look");
  const order = [...form.querySelectorAll(".six input")];
  let started = null, side = null, lastPress = -Infinity, target = null;

  const kept = () => { try { return JSON.parse(sessionStorage.getItem(KEPT)) || {}; } catch { return {}; } };
  const keep = () => sessionStorage.setItem(KEPT, JSON.stringify(Object.fromEntries(new FormData(form))));
  if (!location.search) Object.entries(kept()).forEach(([name, value]) => { if (byId(name)) byId(name).value = value; });

  function place() {
    const empty = order.filter((each) => !each.value.trim() && (!side || each.name.startsWith(side)));
    target = empty[0] || null;
    const words = target ? target.labels[0].textContent.trim().replace(/\s+/g, " ") : "every place is filled";
    byId("look-next").querySelector("b").textContent = words;
    byId("look-start").disabled = !target;
  }

  function draw(seconds, tenths) {
    const minutes = Math.floor(seconds / 60), rest = Math.floor(seconds % 60);
    const face = byId("look-time");
    face.firstChild.data = `${minutes}:${String(rest).padStart(2, "0")}`;
    face.querySelector("small").textContent = `.${Math.floor((seconds % 1) * 10)}`;
    if (tenths) face.querySelector("small").textContent = `.${(seconds % 1).toFixed(2).slice(2)}`;
  }

  function tick() {
    if (started === null) return;
    draw((performance.now() - started) / 1000);
    requestAnimationFrame(tick);
  }

  function start(stamp) {
    if (!target) return;
    started = stamp;
    document.body.dataset.state = "timing";
    tick();
  }

  function stop(stamp) {
    const seconds = (stamp - started) / 1000;
    started = null;
    draw(seconds, true);
    target.value = seconds.toFixed(2);
    side = null;
    document.body.dataset.state = "ready";
    keep();
    place();
  }

  function press(stamp) {
    if (stamp - lastPress < 300) return;
    lastPress = stamp;
    if (started === null) start(stamp); else stop(stamp);
  }

  for (const id of ["look-start", "look-stop"]) {
    byId(id).addEventListener("pointerdown", (event) => { if (!event.button) press(event.timeStamp); });
    byId(id).addEventListener("click", (event) => { if (!event.detail) press(event.timeStamp); });
  }
  const choose = (which) => { if (started === null) { side = which; place(); } };
  byId("look-source").addEventListener("click", () => choose("source"));
  byId("look-control").addEventListener("click", () => choose("control"));
  document.addEventListener("keydown", (event) => {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || window.truerunKeys.typing(event.target)) return;
    const own = event.target.closest("a,button,summary");
    if (event.key === " " && (!own || own.matches(".go"))) { event.preventDefault(); press(event.timeStamp); }
    if (window.truerunKeys.on() && event.key === "1") choose("source");
    if (window.truerunKeys.on() && event.key === "2") choose("control");
  });
  form.addEventListener("input", () => { keep(); place(); });
  place();
})();
