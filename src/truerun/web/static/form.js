// A form that came back: its summary takes the focus, and Back leads to it without sending it again. A form that was
// sent is not sent twice.
"use strict";
(function () {
  const summary = document.querySelector("[data-focus]");
  if (summary) {
    summary.focus();
    const asked = () => history.replaceState(history.state, "", location.href); // from now on asked for, not sent
    addEventListener("submit", asked);
    addEventListener("click", (event) => { if (event.target.closest("a[href]")) asked(); });
  }
  document.addEventListener("submit", (event) => {
    if (event.defaultPrevented) return;
    if (event.target.dataset.sent) event.preventDefault();
    else event.target.dataset.sent = "yes";
  });
  addEventListener("pageshow", () => {
    document.querySelectorAll("form").forEach((each) => { delete each.dataset.sent; });
  });
})();
