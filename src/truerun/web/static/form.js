// A form that came back: its summary takes the focus. A form that was sent is not sent twice.
"use strict";
(function () {
  const summary = document.querySelector("[data-focus]");
  if (summary) summary.focus();
  document.addEventListener("submit", (event) => {
    if (event.defaultPrevented) return;
    if (event.target.dataset.sent) event.preventDefault();
    else event.target.dataset.sent = "yes";
  });
  addEventListener("pageshow", () => {
    document.querySelectorAll("form").forEach((each) => { delete each.dataset.sent; });
  });
})();
