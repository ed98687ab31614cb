"use strict";
// Files go up with progress; a corrected cell is sent at once, and the table is understood anew.
(() => {
  const send = (files) => {
    if (!files.length) return;
    const body = new FormData();
    for (const file of files) body.append("files", file, file.name);
    const request = new XMLHttpRequest();
    const said = document.getElementById("sending");
    request.open("POST", page.base + "/api/import/files");
    request.upload.onprogress = (e) => { if (e.lengthComputable) said.textContent = `Sent ${Math.round(100 * e.loaded / e.total)} %`; };
    request.onload = () => {
      said.textContent = "";
      let told = null;
      try { told = JSON.parse(request.responseText); } catch (_) { /* told below */ }
      if (request.status < 300 && told) page.settle(told);
      else page.complain((told && told.error) || { what: "The files did not arrive.", where: "", what_to_do: "Send them again." });
    };
    request.onerror = () => page.complain({ what: "The files did not arrive.", where: "", what_to_do: "Look whether frusta still runs, then send them again." });
    said.textContent = "Sending.";
    request.send(body);
  };
  document.addEventListener("change", async (event) => {
    if (event.target.id === "files") return send([...event.target.files]);
    const key = event.target.dataset.file;
    if (key) page.settle(await page.call("PATCH", `/api/import/${key}`, { [event.target.name]: event.target.value }));
  });
  document.addEventListener("dragover", (event) => { event.preventDefault(); document.getElementById("drop").classList.add("over"); });
  document.addEventListener("dragleave", (event) => { if (!event.relatedTarget) document.getElementById("drop").classList.remove("over"); });
  document.addEventListener("drop", (event) => { event.preventDefault(); document.getElementById("drop").classList.remove("over"); send([...event.dataTransfer.files]); });
})();
