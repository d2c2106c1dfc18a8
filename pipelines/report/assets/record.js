// Opens what a link leads to, and everything for a printer that does not by itself.
(function () {
  "use strict";
  var records = document.querySelectorAll("details.record");
  function open(node) {
    for (; node; node = node.parentElement) if (node.tagName === "DETAILS") node.open = true;
  }
  function follow() {
    var target = document.getElementById(decodeURIComponent(location.hash.slice(1)));
    if (!target) return;
    open(target);
    target.scrollIntoView();
  }
  window.addEventListener("hashchange", follow);
  window.addEventListener("beforeprint", function () {
    records.forEach(function (one) { if (!one.open) { one.open = true; one.dataset.shut = ""; } });
  });
  window.addEventListener("afterprint", function () {
    records.forEach(function (one) {
      if ("shut" in one.dataset) { one.open = false; delete one.dataset.shut; }
    });
  });
  follow();
})();
