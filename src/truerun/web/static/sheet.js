// The run sheet. The watch counts on touch down, by the clock of this page (performance.now). What was pressed is kept
// in this browser at once, so a reload, a lost connection or a server that ended changes nothing.
"use strict";
(function () {
  const sheet = document.getElementById("sheet");
  const { observe, now, test, slot, attempt, guess } = sheet.dataset;
  const KEPT = `truerun.watch.${test}.${slot}.${attempt}`;
  const byId = (id) => document.getElementById(id);
  const box = window.truerunOutbox;
  const load = () => { try { return JSON.parse(localStorage.getItem(KEPT)) || {}; } catch { return {}; } };
  let watch = load(), known = sheet.dataset.run, before = "ready", lock = null, onward = null;

  // another tab may have pressed meanwhile: what it kept stays
  const keep = (more) => { watch = { ...watch, ...load(), ...more }; localStorage.setItem(KEPT, JSON.stringify(watch)); };
  const absolute = (stamp) => (performance.timeOrigin + stamp) / 1000; // [s], and holds over a reload
  const say = (text) => { byId("live").textContent = text; };
  const state = () => document.body.dataset.state;

  function show(name) {
    document.body.dataset.state = name;
    const first = { wrong: "input[name=kind]:checked", done: "#onward", told: "#onward" }[name];
    if (first) document.querySelector(first).focus();
  }

  function begun() {
    if (watch.run) return watch.run;
    if (known) { keep({ run: known }); return known; }
    const sent = box.put(observe, { what: "begin", slot: Number(slot) });
    keep({ run: sent.id });
    sent.answered.then((answer) => {
      if (!answer) dropped(); // this run is not to be done any more: a time of it would be taken by nobody
      else if (answer.run && localStorage.getItem(KEPT)) keep({ run: answer.run });
    });
    return sent.id;
  }

  // what was measured first and typed, but not yet written down, is not lost when the watch is started
  function measured(run) {
    const open = [...document.querySelectorAll("input[name^=covariate-]")];
    const typed = open.filter((each) => each.value.trim());
    const told = Object.fromEntries(typed.map((each) => [each.name, each.value]));
    if (typed.length) box.put(observe, { what: "measured", run, typed: told });
    byId("lacking").hidden = typed.length === open.length;
  }

  // pressed in another tab a moment ago: what was pressed first counts
  function late(what) {
    const kept = load();
    if (watch[what] !== undefined || kept[what] === undefined) return false;
    follow();
    return true;
  }

  function start(stamp) {
    if (late("started")) return;
    const run = begun();
    measured(run);
    keep({ started: absolute(stamp), origin: performance.timeOrigin });
    box.put(observe, { what: "start", run, at: watch.started });
    show("timing");
    say("The watch runs.");
    stayAwake();
  }

  function dropped() {
    localStorage.removeItem(KEPT);
    location.reload();
  }

  function stop(stamp) {
    if (late("seconds")) return;
    keep({ seconds: Math.round((absolute(stamp) - watch.started) * 1e4) / 1e4 });
    show("asked");
    say("Stopped. Was all well?");
  }

  function tapped(stamp) {
    keep({ taps: (load().taps || 0) + 1 });
    box.put(observe, { what: "tap", run: watch.run, at: absolute(stamp) });
    byId("taps").textContent = watch.taps;
    if (watch.taps % 10 === 0) say(`${watch.taps} turns`);
  }

  function well() {
    if (late("well")) return;
    if (watch.origin !== performance.timeOrigin) {
      const words = `Run ${slot}: the page was loaded anew while the watch ran; its time rests on the computer's clock.`;
      box.put(observe, { what: "note", run: watch.run, words });
    }
    byId("time").textContent = written(watch.seconds);
    keep({ well: true });
    finish(box.put(observe, { what: "stop", run: watch.run, seconds: watch.seconds }), "done");
  }

  function finish(sent, name) {
    byId("next-words").textContent = "It is kept in this browser until the notebook has it.";
    sent.answered.then((answer) => {
      if (!answer) {
        byId("next-words").textContent = byId("rule").textContent = "The notebook did not take it; see above.";
        byId("done-words").textContent = byId("told-words").textContent = "Not written down";
        byId("once").hidden = true;
        return;
      }
      localStorage.removeItem(KEPT);
      if (answer.sentence) byId("rule").textContent = answer.sentence;
      onward = name === "done" && guess ? { address: guess, button: "Write down the guess" } : answer.next;
      byId("onward").href = onward.address;
      byId("onward").textContent = onward.button;
      byId("next-words").textContent = "The notebook has it.";
      say(name === "done" ? "Written down." : "");
    });
    show(name);
  }

  function wrong() {
    before = state();
    byId("seen").hidden = before !== "done";
    byId("unseen").hidden = before === "done";
    history.pushState({}, "", "#wrong");
    show("wrong");
  }

  function sendWrong() {
    const form = byId("wrong");
    const body = { what: "wrong", run: begun(), kind: form.elements.kind.value, words: form.elements.happened.value,
      seen: before === "done" };
    byId("rule").textContent = "Kept in this browser until the notebook has it.";
    keep({ well: true });
    finish(box.put(observe, body), "told");
  }

  function written(seconds) {
    const minutes = Math.floor(seconds / 60), rest = (seconds - 60 * minutes).toFixed(2);
    return minutes ? `${minutes}:${rest.padStart(5, "0")}` : `${rest} s`;
  }

  const { key, press } = window.truerunPresses;
  key("start", start, true);
  key("stop", stop, true);
  key("tap", tapped, true);
  key("well", well);
  key("went-wrong", wrong);
  key("send-wrong", sendWrong);
  key("mistake", () => history.back());
  // without a line the next page would be the browser's own; what was pressed waits here meanwhile
  byId("onward").addEventListener("click", (event) => {
    if (!box.waiting()) return;
    event.preventDefault();
    byId("next-words").textContent = "The notebook does not answer yet. The run is kept in this browser: go on once it has it.";
    box.flush();
  });
  byId("wrong").addEventListener("submit", (event) => { event.preventDefault(); sendWrong(); });
  addEventListener("popstate", () => { if (state() === "wrong") show(before); });

  document.addEventListener("keydown", (event) => {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    const own = event.target.closest("a,button,summary,input,textarea,select");
    const big = { ready: ["start", start], timing: ["stop", stop] }[state()];
    if (event.key === " " && big && (!own || own.matches(".go"))) {
      event.preventDefault();
      press(...big, event.timeStamp);
    } else if (!window.truerunKeys.on() || window.truerunKeys.typing(event.target)) {
      return;
    } else if (event.key === "w" && ["ready", "timing", "asked", "done"].includes(state())) {
      event.preventDefault();
      press("went-wrong", wrong, event.timeStamp);
    } else if (event.key === "t" && state() === "timing") {
      tapped(event.timeStamp);
    }
  });
  // a tick by touch leaves no focus behind, so that space starts the watch
  sheet.addEventListener("click", (event) => { if (event.detail && event.target.matches("[type=checkbox]")) event.target.blur(); });

  async function stayAwake() {
    const line = byId("awake");
    if (!navigator.wakeLock) { line.textContent = "Keep the screen awake yourself: this browser cannot."; return; }
    try {
      lock = await navigator.wakeLock.request("screen");
      line.textContent = "The screen stays awake.";
    } catch {
      line.textContent = "The screen may go dark; the watch runs on.";
    }
  }
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && state() === "timing" && (!lock || lock.released)) stayAwake();
  });

  // a sign of life that does not tell the time
  const beats = document.querySelectorAll(".beat i");
  let beat = 0;
  setInterval(() => {
    if (state() !== "timing") return;
    beats.forEach((each, place) => each.classList.toggle("on", place === beat));
    beat = (beat + 1) % beats.length;
  }, 1000);

  // said before the page was loaded anew, or in another tab: it waits until the notebook has it
  function waits() {
    byId("next-words").textContent = "It is kept in this browser until the notebook has it.";
    byId("once").hidden = true;
    show("done");
  }

  // stand where the watch stands that this browser keeps
  function resume() {
    byId("taps").textContent = watch.taps || 0;
    if (watch.seconds) show("asked");
    else if (watch.started) { show("timing"); stayAwake(); }
  }

  // one watch in two tabs: what is pressed in one is seen in the other; what is being said here is said to its end
  let follows = false;
  addEventListener("storage", (event) => {
    if (event.key !== KEPT) return;
    const open = ["ready", "timing", "asked"].includes(state());
    if (!event.newValue && (open || follows)) location.reload();
    if (event.newValue && open) follow();
  });
  function follow() {
    watch = load();
    follows = Boolean(watch.well);
    if (follows) waits();
    else resume();
  }

  // paired phones, a terminal, another browser may begin and end this very run: a sheet that lies open asks
  let asking = false;
  async function look() {
    if (asking || document.hidden || state() !== "ready" || watch.run) return;
    asking = true;
    try {
      const answer = await fetch(now, { headers: { accept: "application/json" }, credentials: "same-origin" });
      const stands = await answer.json();
      if (answer.ok && state() === "ready" && !watch.run) {
        if (!stands.next || stands.attempt !== Number(attempt)) { location.reload(); return; }
        known = stands.run;
        byId("elsewhere").hidden = !stands.started;
      }
    } catch { /* asked again */ } finally { asking = false; }
  }
  setInterval(look, 3000);
  addEventListener("focus", look);
  addEventListener("pageshow", look);
  document.addEventListener("visibilitychange", look);

  if (watch.well) {
    const told = () => { localStorage.removeItem(KEPT); location.reload(); };
    waits();
    if (box.waiting()) document.addEventListener("truerun:sent", told);
    else told();
    return;
  }
  resume();
  if (location.hash === "#wrong") { before = state(); show("wrong"); }
})();
