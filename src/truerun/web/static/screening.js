// A watch for the runs of a screening: the second press puts the time into the field.
"use strict";
(function () {
  const button = document.getElementById("watch");
  const field = document.getElementById("seconds");
  let started = null, last = -Infinity;

  function press(stamp) {
    if (stamp - last < 300) return; // a bouncing finger
    last = stamp;
    if (started === null) {
      started = stamp;
      field.value = "";
      button.textContent = "It came to its end: stop";
      document.body.dataset.state = "timing";
    } else {
      field.value = ((stamp - started) / 1000).toFixed(2);
      started = null;
      button.textContent = "Start the watch again";
      delete document.body.dataset.state;
      field.focus();
    }
  }

  button.hidden = false;
  button.addEventListener("pointerdown", (event) => { if (!event.button) press(event.timeStamp); });
  button.addEventListener("click", (event) => { if (!event.detail) press(event.timeStamp); });
})();
