// The timekeeper's watch. What was pressed is kept in this phone at once, so a reload, a lost connection or a server that
// ended changes nothing. The time is never shown.
"use strict";
(function () {
  const KEPT = "truerun.phone.watch";
  const main = document.getElementById("main"), box = window.truerunOutbox;
  const guesses = main.dataset.guess === "yes";
  const byId = (id) => document.getElementById(id);
  const load = () => { try { return JSON.parse(localStorage.getItem(KEPT)) || {}; } catch { return {}; } };
  let watch = load(), run = watch.run || "", before = "timing";
  const keep = (more) => { watch = { ...watch, ...more }; localStorage.setItem(KEPT, JSON.stringify(watch)); };
  const absolute = (stamp) => (performance.timeOrigin + stamp) / 1000; // [s], and holds over a reload
  const state = () => document.body.dataset.state;
  const send = (body) => box.put("/p/observe", { ...body, run });

  function show(name) {
    if (state() === name) return;
    document.body.dataset.state = name;
    byId("live").textContent = { ready: "It is set up.", timing: "The watch runs.", asked: "Stopped. Was all well?" }[name] || "";
  }

  function ended() {
    watch = {};
    localStorage.removeItem(KEPT);
    show("sent");
  }

  function start(stamp) {
    keep({ run, started: absolute(stamp), taps: 0 });
    byId("taps").textContent = 0;
    send({ what: "start", at: watch.started });
    show("timing");
    if (navigator.wakeLock) navigator.wakeLock.request("screen").catch(() => {});
  }
  function stop(stamp) { keep({ seconds: Math.round((absolute(stamp) - watch.started) * 1e4) / 1e4 }); show("asked"); }
  function tap(stamp) {
    keep({ taps: (watch.taps || 0) + 1 });
    byId("taps").textContent = watch.taps;
    send({ what: "tap", at: absolute(stamp) });
  }
  function well() {
    send({ what: "stop", seconds: watch.seconds });
    if (!guesses) return ended();
    keep({ asks: true });
    return show("guess");
  }
  function guess(condition) { send({ what: "guess", condition }); ended(); }

  const { key } = window.truerunPresses;
  key("start", start, true);
  key("stop", stop, true);
  key("tap", tap, true);
  key("well", well);
  key("on", () => guess("on"));
  key("off", () => guess("off"));
  key("went-wrong", () => { before = state(); show("wrong"); });
  key("mistake", () => show(before));
  byId("wrong").addEventListener("submit", (event) => {
    event.preventDefault();
    send({ what: "wrong", kind: event.target.elements.kind.value, seen: false });
    ended();
  });

  let timer = 0, looking = false;
  async function look() {
    if (looking) return;
    looking = true;
    clearTimeout(timer);
    try {
      const asked = state();
      if (["wait", "ready", "sent", "over", undefined].includes(asked) && !box.waiting()) {
        const answer = await fetch("/p/now", { headers: { accept: "application/json" }, credentials: "same-origin" });
        if (answer.status === 401) return location.reload();
        const now = await answer.json();
        // what was pressed meanwhile is newer than the answer
        if (answer.ok && state() === asked && !box.waiting()) {
          run = now.run;
          if (now.launch) byId("launch").textContent = now.launch;
          show(now.state);
        }
      }
    } catch { /* asked again */ }
    looking = false;
    timer = setTimeout(look, 1000);
  }
  document.addEventListener("truerun:sent", look);

  byId("taps").textContent = watch.taps || 0;
  if (watch.asks) show("guess");
  else if (watch.seconds) show("asked");
  else if (watch.started) show("timing");
  look();
})();
