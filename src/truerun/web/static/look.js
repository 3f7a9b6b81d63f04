// Look first: a watch, or a tap at every pass of one mark, fills the next empty place. All times are those of the clock
// of this page (performance.now). Everything is kept in this browser at once, a running watch with its taps too, so a
// reload, a lost connection or a server that ended changes nothing.
"use strict";
(function () {
  const KEPT = "truerun.look", MOST = 1000, LEAST = 12, BOUNCE = 300, DOUBLE = 120, SLOW = 0.3;
  const byId = (id) => document.getElementById(id);
  const form = byId("look"), face = byId("look-time"), keys = window.truerunKeys;
  const order = [...form.querySelectorAll(".place input[type=text]")];
  const taps = (field) => byId(`taps_${field.name}`);
  let side = null, target = null, run = null, lastPress = -Infinity, sure = false, lock = null;

  const load = () => { try { return JSON.parse(localStorage.getItem(KEPT)) || {}; } catch { return {}; } };
  const keep = () => localStorage.setItem(KEPT, JSON.stringify({ values: Object.fromEntries(new FormData(form)), run }));
  const absolute = (stamp) => performance.timeOrigin + stamp; // [ms], and holds over a reload
  const now = () => absolute(performance.now());
  const how = () => form.elements.how.value;
  const tell = (text) => { byId("look-told").textContent = text; };
  const filled = (field) => field.value.trim() || taps(field).value;
  const called = (field) => field.labels[0].textContent.trim().replace(/\s+/g, " ");

  function fill(values) {
    for (const [name, value] of Object.entries(values)) {
      if (name === "how") form.querySelectorAll("[name=how]").forEach((each) => { each.checked = each.value === value; });
      else if (form.elements[name]) form.elements[name].value = value;
    }
  }

  // the names of the conditions, wherever they stand
  function names() {
    for (const each of ["source", "control"]) {
      const name = form.elements[each].value.trim() || "?";
      const places = form.querySelectorAll(`#look-${each} .cnd, label[for^=${each}_] .cnd`);
      places.forEach((place) => { place.lastChild.data = name; });
    }
    const [source, control] = ["source", "control"].map((each) => form.elements[each].value.trim());
    form.querySelector(".names summary").textContent = `Other words for “${source}” and “${control}”`;
  }

  function place() {
    document.body.dataset.how = how();
    const empty = order.filter((each) => !filled(each));
    target = (side && empty.find((each) => each.name.startsWith(side))) || empty[0] || null; // a full side gives way
    document.body.dataset.full = String(!target);
    const next = target ? ["Now: ", ...target.labels[0].cloneNode(true).childNodes] : ["Every place is filled. See what they show."];
    byId("look-next").replaceChildren(...next);
    byId("look-start").disabled = !target;
    for (const each of order) {
      const count = taps(each).value.split(".").filter(Boolean).length;
      const line = each.parentElement.querySelector(".tapped");
      line.firstChild.textContent = count ? `${count + 1} taps` : "";
      const again = line.querySelector("button");
      again.hidden = !filled(each);
      again.setAttribute("aria-label", `Do it again: ${called(each)}`);
      each.parentElement.classList.toggle("chosen", each === target);
    }
    for (const each of ["source", "control"]) {
      byId(`look-${each}`).setAttribute("aria-pressed", String(Boolean(target && target.name.startsWith(each))));
    }
    byId("look-anew").hidden = !order.some(filled);
    byId("look-stop").textContent = form.elements.end.value === "standstill" ? "It stopped" : "Stop";
  }

  function draw(seconds, digits) {
    const minutes = Math.floor(seconds / 60), rest = Math.floor(seconds % 60);
    face.firstChild.data = `${minutes}:${String(rest).padStart(2, "0")}`;
    face.querySelector("small").textContent = digits ? `.${(seconds % 1).toFixed(2).slice(2)}`
      : `.${Math.floor((seconds % 1) * 10)}`;
  }

  function tick() {
    if (!run) return;
    draw(Math.max(0, now() - run.started) / 1000);
    requestAnimationFrame(tick);
  }

  const middle = (values) => [...values].sort((a, b) => a - b)[Math.floor(values.length / 2)];

  // what the taps tell while they come: count, speed, scatter, and whether the wheel has become slow
  function live() {
    const steps = run.taps.slice(1).map((at, number) => at - run.taps[number]);
    byId("count").textContent = byId("passes").textContent = run.taps.length;
    byId("speed").textContent = steps.length > 2 ? Math.round(60000 / middle(steps.slice(-5))) : "–";
    const bends = steps.slice(1).map((step, number) => Math.abs(step - steps[number]));
    byId("scatter").textContent = run.taps.length < 11 ? "–" : (middle(bends) / 0.6745 / Math.sqrt(6) / 1000).toFixed(2);
    const middles = steps.slice(4).map((_, number) => middle(steps.slice(number, number + 5)));
    const slow = middles.length > 0 && SLOW * middles[middles.length - 1] > Math.min(...middles);
    const words = slow ? "Slow enough to leave off. Tap on, and press “It stopped” at the end, to see both impressions." : "";
    if (byId("enough").textContent !== words) byId("enough").textContent = words;
  }

  function running() {
    const field = form.elements[run.target];
    byId("running").replaceChildren(...[...field.labels[0].cloneNode(true).childNodes]);
    document.body.dataset.how = run.how;
    document.body.dataset.state = "timing";
    if (run.taps.length) live();
    tick();
    byId("look-go").focus({ preventScroll: true });
    scrollTo(0, 0);
    stayAwake();
  }

  function start(stamp) {
    if (!target) return;
    if (document.activeElement !== document.body) document.activeElement.blur();
    run = { target: target.name, how: how(), started: absolute(stamp), origin: performance.timeOrigin, taps: [] };
    if (run.how === "taps") run.taps.push(run.started);
    tell("");
    keep();
    running();
  }

  function tap(stamp) {
    const at = absolute(stamp);
    if (at - run.taps[run.taps.length - 1] < DOUBLE || run.taps.length >= MOST) return;
    run.taps.push(at);
    keep();
    live();
  }

  // ``seconds`` is null where the wheel still turned
  function ended(seconds) {
    const field = form.elements[run.target], anew = run.origin !== performance.timeOrigin;
    const few = run.how === "taps" && run.taps.length < LEAST;
    const whole = run.taps.map((at) => Math.round(at - run.taps[0]));
    const count = run.taps.length;
    if (few && seconds === null) return over(`${count === 1 ? "1 tap is" : `${count} taps are`} too few to use; ${LEAST} are needed. Do this run again.`);
    field.value = seconds === null ? "" : seconds.toFixed(2);
    taps(field).value = whole.slice(1).map((at, number) => at - whole[number]).join(".");
    if (seconds !== null) draw(seconds, true);
    const told = [seconds === null ? "" : `${seconds.toFixed(2)} s`, count ? `${count} tap${count === 1 ? "" : "s"}` : ""].filter(Boolean).join(", ");
    const odd = few ? " Too few taps to use: its time stands alone." : "";
    over(`Kept: ${called(field)}, ${told}.${odd}${anew ? " The page was loaded anew meanwhile: it rests on the computer's clock." : ""}`);
  }

  function over(words) {
    run = null;
    side = null;
    document.body.dataset.state = "ready";
    keep();
    place();
    tell(words);
    if (target) byId("look-start").focus({ preventScroll: true });
    else byId("look-show").focus();
  }

  const stop = (stamp) => ended((absolute(stamp) - run.started) / 1000);
  const wrong = () => { draw(0); over("Thrown away. The place is free again."); };

  function press(stamp) {
    const tapping = run && run.how === "taps";
    if (stamp - lastPress < (tapping ? DOUBLE : BOUNCE)) return;
    lastPress = stamp;
    if (!run) start(stamp);
    else if (tapping) tap(stamp);
    else stop(stamp);
  }

  // once for each touch: on touch down, or by a click that no pointer made. The page may be laid out anew meanwhile, so
  // the click that ends such a touch means nothing, wherever it falls.
  let spent = false;
  addEventListener("pointerdown", () => { spent = false; }, true);
  addEventListener("click", (event) => {
    if (!spent || !event.detail) return;
    spent = false;
    event.preventDefault();
    event.stopPropagation();
  }, true);
  function key(id, act) {
    byId(id).addEventListener("pointerdown", (event) => {
      if (event.button) return;
      spent = true;
      act(event.timeStamp);
    });
    byId(id).addEventListener("click", (event) => { if (!event.detail) act(event.timeStamp); });
  }

  key("look-start", press);
  key("look-go", press);
  key("look-stopped", (stamp) => { if (run) stop(stamp); });
  byId("look-leave").addEventListener("click", () => { if (run) ended(null); });
  byId("look-wrong").addEventListener("click", () => { if (run) wrong(); });

  const choose = (which) => { if (!run) { side = which; place(); } };
  byId("look-source").addEventListener("click", () => choose("source"));
  byId("look-control").addEventListener("click", () => choose("control"));
  form.querySelector(".six").addEventListener("click", (event) => {
    const field = form.elements[event.target.dataset.again];
    if (!field) return;
    field.value = taps(field).value = "";
    side = field.name.split("_")[0];
    keep();
    place();
    byId("look-start").focus();
    tell(`${called(field)} is free again.`);
  });
  byId("look-anew").addEventListener("click", (event) => {
    event.target.textContent = sure ? "Begin a new look" : "Press again: all six places are emptied";
    if (sure) { order.forEach((each) => { each.value = taps(each).value = ""; }); side = null; draw(0); keep(); place(); }
    sure = !sure;
  });

  document.addEventListener("keydown", (event) => {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey || keys.typing(event.target)) return;
    const own = event.target.closest("a,button,summary,input,select");
    if (event.key === " " && (!own || own.matches(".go"))) { event.preventDefault(); press(event.timeStamp); }
    if (!keys.on()) return;
    if (event.key === "1") choose("source");
    if (event.key === "2") choose("control");
    if (run && event.key === "w") wrong();
    else if (run && run.how === "taps" && event.key === "s") stop(event.timeStamp);
    else if (run && run.how === "taps" && event.key === "e") ended(null);
  });
  // a choice by touch leaves no focus behind, so that space starts the watch
  form.addEventListener("click", (event) => { if (event.detail && event.target.matches("[type=radio]")) event.target.blur(); });
  form.addEventListener("input", (event) => {
    if (event.target.matches(".place input")) taps(event.target).value = "";
    names();
    place();
    keep();
  });

  async function stayAwake() {
    try { lock = await navigator.wakeLock.request("screen"); } catch { lock = null; }
  }
  document.addEventListener("visibilitychange", () => {
    if (!document.hidden && run && (!lock || lock.released)) stayAwake();
  });

  // asks until truerun answers: what it is asked stands in the address
  let pause = 500, asking = false;
  async function ask() {
    asking = true;
    const line = byId("look-asked");
    const sent = [...new FormData(form)].filter(([name, value]) => value || !/_[123]$/.test(name));
    const address = `/look/result?${new URLSearchParams(sent)}`;
    if (!line.textContent) line.textContent = "Reckoning.";
    let why = "truerun does not answer.";
    try {
      const answer = await fetch(address, { credentials: "same-origin", signal: AbortSignal.timeout(60000) });
      if (answer.status === 401) why = "open truerun with the new link that it printed.";
      else if (answer.status < 500) { location.assign(address); return; }
    } catch { /* said below */ }
    line.textContent = `Your runs are kept in this browser: ${why} It is asked again.`;
    line.classList.add("trouble");
    setTimeout(ask, pause);
    pause = Math.min(pause * 2, 8000);
  }
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    keep();
    if (!asking) ask();
  });
  addEventListener("pageshow", (event) => {
    if (!event.persisted) return;
    asking = false;
    byId("look-asked").textContent = "";
  });

  const before = load();
  if (location.search) history.replaceState(null, "", "/look"); // from now on what this browser keeps counts
  else fill(before.values || {});
  run = before.run || null;
  byId("hows").hidden = false;
  names();
  place();
  keep();
  if (run) running();
})();
