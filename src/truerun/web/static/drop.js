// A file that is dropped on the form is chosen in it; a photo or recording of a phone's camera comes the same way.
"use strict";
(function () {
  const form = document.getElementById("drop");
  if (!form) return;
  const field = form.querySelector("input[type=file]");
  const over = (on) => (event) => { event.preventDefault(); form.classList.toggle("over", on); };
  ["dragenter", "dragover"].forEach((name) => form.addEventListener(name, over(true)));
  form.addEventListener("dragleave", over(false));
  form.addEventListener("drop", (event) => {
    over(false)(event);
    if (event.dataTransfer.files.length) { field.files = event.dataTransfer.files; field.focus(); }
  });
})();
