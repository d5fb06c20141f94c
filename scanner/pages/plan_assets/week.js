"use strict";
const route = document.getElementById("route");
route.parentElement.hidden = route.options.length < 3;
route.addEventListener("change", () => {
  let shown = 0;
  const items = document.querySelectorAll(".item");
  for (const item of items) {
    item.hidden = route.value !== "" && item.dataset.route !== route.value;
    shown += item.hidden ? 0 : 1;
  }
  for (const section of document.querySelectorAll(".lines")) {
    const left = section.querySelectorAll(".item:not([hidden])").length;
    section.querySelector(".count").textContent = left;
    section.querySelector(".filtered").hidden = left > 0 || !section.querySelector(".item");
    const sum = document.querySelector(`[data-count="${section.getAttribute("aria-labelledby")}"]`);
    if (sum) sum.textContent = left;
  }
  document.getElementById("status").textContent = route.value ? `${shown} of ${items.length} lines` : "";
});
