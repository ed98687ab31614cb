"use strict";
// The preview follows the ticks when asked to.
document.addEventListener("click", async (event) => {
  if (!event.target.closest("[data-preview]")) return;
  const leave_out = [...document.querySelectorAll("#out input[data-list]")].filter((box) => !box.checked).map((box) => box.value);
  page.settle(await page.call("POST", "/api/report/preview", { leave_out }));
});
