/* A keypad for a field: each key writes a digit at its end. Without scripts it stays hidden, and the field does all. */
(function () {
  "use strict";

  document.querySelectorAll("[data-keypad]").forEach(function (pad) {
    var field = document.querySelector(pad.dataset.keypad);
    if (!field) {
      return;
    }
    pad.hidden = false;
    pad.addEventListener("click", function (event) {
      var key = event.target.closest("[data-key]");
      if (!key) {
        return;
      }
      var digit = key.dataset.key;
      field.value = digit === "back" ? field.value.slice(0, -1) : field.value + digit;
    });
  });
})();
