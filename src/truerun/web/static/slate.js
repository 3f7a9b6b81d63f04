// The slate: a clock, and a flash with a beep to find one instant in picture and sound. At most one flash a second:
// WCAG 2.3.1 allows three.
"use strict";
(function () {
  const byId = (id) => document.getElementById(id);
  const white = byId("white"), FLASH = 200, REST = 1000;
  let last = -Infinity, sound = null;
  const two = (number) => String(number).padStart(2, "0");
  const written = (now) => `${two(now.getHours())}:${two(now.getMinutes())}:${two(now.getSeconds())}.${Math.floor(now.getMilliseconds() / 100)}`;

  function tick() {
    const now = new Date();
    byId("clock").textContent = written(now);
    byId("day").textContent = `${now.getFullYear()}-${two(now.getMonth() + 1)}-${two(now.getDate())}, by this device's clock`;
  }
  tick();
  setInterval(tick, 100);

  function beep() {
    const Context = window.AudioContext || window.webkitAudioContext;
    if (!Context) return;
    sound = sound || new Context();
    sound.resume();
    const tone = sound.createOscillator(), volume = sound.createGain();
    tone.frequency.value = 1000;
    volume.gain.value = 0.5;
    tone.connect(volume).connect(sound.destination);
    tone.start();
    tone.stop(sound.currentTime + FLASH / 1000);
  }

  function flash() {
    if (performance.now() - last < REST) return;
    last = performance.now();
    const at = written(new Date());
    byId("white-time").textContent = at;
    white.hidden = false;
    setTimeout(() => { white.hidden = true; }, FLASH);
    beep();
    byId("said").textContent = `Flashed at ${at}`;
  }

  byId("flash").addEventListener("click", flash);
  document.addEventListener("keydown", (event) => {
    if (event.repeat || event.ctrlKey || event.altKey || event.metaKey) return;
    if (event.key === " " && !event.target.closest("a,button")) { event.preventDefault(); flash(); }
    if (event.key === "Escape") location.assign(byId("back").href);
  });
})();
