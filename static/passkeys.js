// Passkeys: asks the archive what is wanted, then the key, and sends its answer as a form.
// Without this file people sign in with their password.
"use strict";

const keys = window.PublicKeyCredential;

async function asked(form, fields) {
  const body = new FormData();
  for (const name of fields) body.set(name, form.elements[name].value);
  const answer = await fetch(form.dataset.options, { method: "POST", body });
  const told = await answer.json().catch(() => ({}));
  if (!answer.ok) throw new Error(told.refusal ?? "The archive did not answer. Reload the page.");
  return told;
}

async function answered(form) {
  if (form.dataset.passkey === "add") {
    const told = await asked(form, ["csrf", "password"]);
    return navigator.credentials.create({ publicKey: keys.parseCreationOptionsFromJSON(told) });
  }
  const told = await asked(form, ["csrf"]);
  return navigator.credentials.get({ publicKey: keys.parseRequestOptionsFromJSON(told) });
}

// What went wrong, as a person may want to know it.
function told(error) {
  if (error.name === "NotAllowedError") return "No passkey was given. Try again when you are ready.";
  if (error.name === "InvalidStateError") return "This key is yours already.";
  if (error.name === "SecurityError") {
    return `Passkeys need the archive to be open under its name, not under ${location.host}.`;
  }
  return error.message;
}

async function send(event) {
  const form = event.currentTarget;
  event.preventDefault();
  const status = form.querySelector("[role=status]");
  status.textContent = "Waiting for your passkey …";
  try {
    form.elements.answer.value = JSON.stringify(await answered(form));
    form.submit();
  } catch (error) {
    status.textContent = told(error);
  }
}

for (const form of document.querySelectorAll("form[data-passkey]")) {
  if (!keys?.parseRequestOptionsFromJSON) continue;
  form.hidden = false;
  document.getElementById("no-passkeys")?.remove();
  form.addEventListener("submit", send);
}
