/* Small helps on top of pages that already work without them:
   live parts, focus that stays where it was, messages that can be closed. */
(function () {
  "use strict";

  document.documentElement.classList.add("has-script");

  document.addEventListener("click", function (event) {
    var close = event.target.closest("[data-close]");
    if (close) {
      var toast = close.closest(".toast");
      if (toast) {
        toast.remove();
        focusMain();
      }
    }
  });

  /* A form marked data-once is sent once, however often a glove taps it. */
  document.addEventListener("submit", function (event) {
    var form = event.target;
    if (event.defaultPrevented || !form.matches("form[data-once]")) {
      return;
    }
    if (form.dataset.sent) {
      event.preventDefault();
      return;
    }
    form.dataset.sent = "yes";
  });

  window.addEventListener("pageshow", function () {
    document.querySelectorAll("form[data-once]").forEach(function (form) {
      delete form.dataset.sent;
    });
  });

  document.addEventListener("change", function (event) {
    var field = event.target.closest("[data-submit-on-change]");
    if (field && field.form) {
      field.form.requestSubmit();
    }
  });

  /* A scanner ends with Enter: between the scans of one form it leads on to the next empty field. */
  document.addEventListener("keydown", function (event) {
    var field = event.target.closest("[data-next-on-enter]");
    if (event.key !== "Enter" || !field || !field.form || !field.value.trim()) {
      return;
    }
    var scans = Array.prototype.slice.call(field.form.querySelectorAll("[data-next-on-enter]"));
    var next = scans.filter(function (scan) {
      return !scan.value.trim();
    })[0];
    event.preventDefault();
    if (next) {
      next.focus();
    } else {
      /* The last scan sends nothing by itself: why the edge comes off is still to be said. */
      var rest = field.form.querySelector("input[type=radio]:checked, button[type=submit]");
      rest.focus();
    }
  });

  document.addEventListener("click", function (event) {
    if (event.target.closest("[data-print]")) {
      window.print();
    }
  });

  /* Copies what a field holds, and says so in the button for a moment. Where the browser refuses, the field is shown
     and selected, to be copied by hand. */
  document.addEventListener("click", function (event) {
    var button = event.target.closest("[data-copy-from]");
    var field = button && document.querySelector(button.dataset.copyFrom);
    if (!field) {
      return;
    }
    var words = button.textContent;
    var byHand = function () {
      var fold = field.closest("details");
      if (fold) {
        fold.open = true;
      }
      field.focus();
      field.select();
    };
    if (!navigator.clipboard) {
      byHand();
      return;
    }
    navigator.clipboard.writeText(field.value).then(function () {
      button.textContent = "Copied";
      window.setTimeout(function () {
        button.textContent = words;
      }, 2000);
    }, byHand);
  });

  function focusMain() {
    var main = document.getElementById("main");
    if (main) {
      main.focus({ preventScroll: true });
    }
  }

  /* After a part was replaced, the same control keeps the focus. Controls are
     known by their id, or by data-focus where an id would not be unique. */
  var held = null;

  function nameOf(element) {
    if (!element || element === document.body) {
      return null;
    }
    if (element.id) {
      return "#" + CSS.escape(element.id);
    }
    if (element.dataset && element.dataset.focus) {
      return '[data-focus="' + CSS.escape(element.dataset.focus) + '"]';
    }
    if (element.tagName === "A" && element.getAttribute("href")) {
      return 'a[href="' + CSS.escape(element.getAttribute("href")) + '"]';
    }
    return null;
  }

  document.addEventListener("htmx:beforeSwap", function (event) {
    var active = document.activeElement;
    held = event.detail.target && event.detail.target.contains(active) ? nameOf(active) : null;
    var xhr = event.detail.xhr;
    if (!xhr) {
      return;
    }
    /* A whole page is no part. It comes after a redirect: to sign-in when the session ended, or onward. */
    if (xhr.responseText.slice(0, 200).toLowerCase().indexOf("<html") >= 0) {
      var asker = event.detail.requestConfig ? event.detail.requestConfig.elt : null;
      var picks = asker && asker.closest && asker.closest("[hx-select], [hx-boost]");
      var gone = xhr.responseURL.indexOf("/sign-in/") >= 0;
      event.detail.shouldSwap = Boolean(picks) && !gone && xhr.status < 400;
      if (gone) {
        window.location.reload();
      } else if (!picks && xhr.status < 400) {
        window.location.assign(xhr.responseURL);
      }
      return;
    }
    /* 400, 403, 404 and 409 answers carry a part that says what is wrong: show it. */
    if (xhr.status >= 400 && xhr.status < 500) {
      event.detail.shouldSwap = true;
      event.detail.isError = false;
    }
  });

  document.addEventListener("htmx:afterSettle", function () {
    var asked = document.querySelector("[data-focus-now]");
    if (asked) {
      asked.removeAttribute("data-focus-now");
      asked.focus();
      if (asked.select) {
        asked.select();
      }
    } else if (held && (!document.activeElement || document.activeElement === document.body)) {
      var again = document.querySelector(held);
      if (again) {
        again.focus({ preventScroll: true });
      }
    }
    held = null;
  });

  /* A page nobody looks at need not ask the server every two seconds. */
  document.addEventListener("htmx:beforeRequest", function (event) {
    var element = event.detail.elt;
    var trigger = element ? element.getAttribute("hx-trigger") || "" : "";
    if (document.hidden && trigger.indexOf("every") >= 0) {
      event.preventDefault();
    }
  });

  function setLive(working) {
    document.querySelectorAll(".live").forEach(function (mark) {
      mark.classList.toggle("is-lost", !working);
      mark.textContent = working ? mark.dataset.words || "Updates itself" : "Connection lost, trying again";
    });
  }

  document.addEventListener("htmx:sendError", function () {
    setLive(false);
  });

  document.addEventListener("htmx:responseError", function () {
    setLive(false);
  });

  document.addEventListener("htmx:afterOnLoad", function () {
    setLive(true);
  });

  /* The search box in the head of the page: / leads there, arrows go through what was found, Escape closes it. */
  var box = document.querySelector("[data-search]");
  var list = document.querySelector("[data-search-found]");

  function foundOnes() {
    return Array.prototype.slice.call(list.querySelectorAll("[data-found]"));
  }

  function closeFound() {
    list.hidden = true;
  }

  if (box && list) {
    document.addEventListener("keydown", function (event) {
      var at = event.target;
      var typing = at.closest && at.closest("input, textarea, select, [contenteditable]");
      /* At the counter whatever is typed or scanned belongs to its own field. */
      var scans = document.querySelector("#counter-form");
      if (event.key === "/" && !typing && !scans && !event.ctrlKey && !event.altKey && !event.metaKey) {
        event.preventDefault();
        box.focus();
        box.select();
      }
    });

    box.form.addEventListener("keydown", function (event) {
      var ones = foundOnes();
      var at = ones.indexOf(document.activeElement);
      if (event.key === "Escape" && !list.hidden) {
        event.preventDefault();
        closeFound();
        box.focus();
      } else if (event.key === "ArrowDown" && ones.length && !list.hidden) {
        event.preventDefault();
        ones[Math.min(at + 1, ones.length - 1)].focus();
      } else if (event.key === "ArrowUp" && at >= 0) {
        event.preventDefault();
        if (at === 0) {
          box.focus();
        } else {
          ones[at - 1].focus();
        }
      }
    });

    document.addEventListener("htmx:afterSwap", function (event) {
      if (event.detail.target === list) {
        list.hidden = !box.value.trim() || !list.textContent.trim();
      }
    });

    box.addEventListener("focus", function () {
      list.hidden = !box.value.trim() || !list.textContent.trim();
    });

    document.addEventListener("focusin", function (event) {
      if (!box.form.contains(event.target)) {
        closeFound();
      }
    });

    document.addEventListener("click", function (event) {
      if (!box.form.contains(event.target)) {
        closeFound();
      }
    });
  }
})();
