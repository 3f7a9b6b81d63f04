// Presses of big keys. A second press of a key within 0.3 s is a bounce, and so is one of a key that has only just come
// up. A click counts where the finger went down: held on a key that then went away, it would fall on the next one.
"use strict";
(function () {
  const BOUNCE = 300; // [ms]
  const last = new Map();
  let turned = -Infinity, under = null;
  addEventListener("pointerdown", (event) => { under = event.target.closest("button"); }, true);

  const open = (stamp) => stamp - turned >= BOUNCE;

  function press(id, act, stamp) {
    if (!open(stamp) || stamp - (last.get(id) ?? -Infinity) < BOUNCE) return;
    const before = document.body.dataset.state;
    last.set(id, stamp);
    act(stamp);
    if (document.body.dataset.state !== before) turned = performance.now();
  }

  function key(id, act, onTouch) {
    const button = document.getElementById(id);
    button.disabled = false; // until here nobody would hear a press
    if (onTouch) button.addEventListener("pointerdown", (event) => { if (!event.button) press(id, act, event.timeStamp); });
    // a click without a pointer comes from a keyboard or from assistive technology
    button.addEventListener("click", (event) => {
      if (!event.detail || (!onTouch && under === button)) press(id, act, event.timeStamp);
    });
  }

  window.truerunPresses = { key, press, open };
})();
