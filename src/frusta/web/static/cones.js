"use strict";
// Photos are made small before they leave the browser; on a phone the chosen cone comes into view.
(() => {
  const LONGEST = 1600, LARGEST = 900000;
  const blobOf = (canvas, quality) => new Promise((done) => canvas.toBlob(done, "image/jpeg", quality));
  document.addEventListener("change", async (event) => {
    const field = event.target.closest("[data-photo]");
    if (!field || !field.files.length) return;
    const says = document.getElementById("photo-says");
    let picture;
    says.textContent = "Making it small.";
    try { picture = await createImageBitmap(field.files[0]); } catch (_) {
      says.textContent = "";
      page.complain({ what: "This picture cannot be read.", where: field.files[0].name, what_to_do: "Choose a JPEG, PNG or WebP." });
      return;
    }
    const scale = Math.min(1, LONGEST / Math.max(picture.width, picture.height));
    const canvas = document.createElement("canvas");
    canvas.width = Math.round(picture.width * scale);
    canvas.height = Math.round(picture.height * scale);
    canvas.getContext("2d").drawImage(picture, 0, 0, canvas.width, canvas.height);
    let blob = null;
    for (const quality of [0.85, 0.7, 0.5, 0.3]) { blob = await blobOf(canvas, quality); if (blob.size < LARGEST) break; }
    says.textContent = "Sending it.";
    const answer = await fetch(page.base + field.dataset.photo, { method: "POST", headers: { "content-type": "image/jpeg" }, body: blob }).catch(() => null);
    const told = answer ? await answer.json() : null;
    says.textContent = "";
    field.value = "";
    if (answer && answer.ok) page.settle(told);
    else if (told && told.error) page.complain(told.error);
    else page.offline();
  });
  if (innerWidth <= 900 && new URLSearchParams(location.search).has("cone")) document.getElementById("card").scrollIntoView();
})();
