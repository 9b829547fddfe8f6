/* Files that are dropped or chosen are sent one by one, so that what came whole is in the tray whatever happens to the
   rest. Without this script the same form sends them all at once. */
"use strict";

async function entries(item, before, out) {
  if (item.isFile) {
    const file = await new Promise((good, bad) => item.file(good, bad));
    out.push([before + item.name, file]);
    return;
  }
  const reader = item.createReader();
  for (;;) {  // a reader gives a hundred at a time
    const some = await new Promise((good, bad) => reader.readEntries(good, bad));
    if (!some.length) return;
    for (const one of some) await entries(one, before + item.name + "/", out);
  }
}

async function dropped(transfer) {
  const out = [];
  const items = [...transfer.items].map((i) => (i.webkitGetAsEntry ? i.webkitGetAsEntry() : null)).filter(Boolean);
  if (!items.length) return [...transfer.files].map((f) => [f.name, f]);
  for (const item of items) await entries(item, "", out);
  return out;
}

function drop(form) {
  const said = form.querySelector("[data-status]");
  const button = form.querySelector("button");
  const value = (name) => form.elements[name].value;
  let busy = false;

  async function send(files) {
    if (busy || !files.length) return;
    busy = true;
    button.disabled = true;
    let tray = value("tray");
    try {
      for (const [at, [name, file]] of files.entries()) {
        say(at, files.length, name);
        const answer = await fetch(form.dataset.one, {
          method: "POST",
          body: file,
          headers: {
            "content-type": "application/octet-stream",
            "hx-request": "true",
            "x-form-token": value("form_token"),
            "x-tray": tray,
            "x-purpose": value("purpose"),
            "x-name": encodeURIComponent(name),
          },
        });
        if (!answer.ok) throw new Error(await answer.text());
        tray = form.elements.tray.value = (await answer.json()).tray;
      }
      const then = new FormData();
      then.set("form_token", value("form_token"));
      then.set("tray", tray);
      const answer = await fetch(form.dataset.then, { method: "POST", body: new URLSearchParams(then) });
      if (!answer.ok) throw new Error(await answer.text());
      location.assign(answer.url);
    } catch (error) {
      said.textContent = form.dataset.failed + " " + error.message;
    } finally {
      busy = false;
      button.disabled = false;
    }
  }

  function say(done, total, name) {
    said.textContent = form.dataset.said.replace("{done}", done).replace("{total}", total) + ": " + name;
  }

  form.addEventListener("dragover", (event) => {
    event.preventDefault();
    form.classList.add("over");
  });
  form.addEventListener("dragleave", () => form.classList.remove("over"));
  form.addEventListener("drop", async (event) => {
    event.preventDefault();
    form.classList.remove("over");
    await send(await dropped(event.dataTransfer));
  });
  form.addEventListener("submit", (event) => {
    const chosen = [...form.querySelectorAll("input[type=file]")].flatMap((i) => [...i.files]);
    if (!chosen.length) return;  // the server says that nothing was chosen
    event.preventDefault();
    send(chosen.map((f) => [f.webkitRelativePath || f.name, f]));
  });
}

for (const form of document.querySelectorAll("form[data-drop]")) drop(form);
for (const form of document.querySelectorAll("form[data-once]")) {
  form.addEventListener("submit", () => setTimeout(() => (form.querySelector("button").disabled = true)));
}
