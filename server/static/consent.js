// Lets a passkey confirm an answer, or makes the one to confirm it with. What the
// device gives goes into the form, and the form is sent as it would be without.
(() => {
  const part = document.getElementById("confirm"), form = document.getElementById("answer");
  if (!part || !form || !window.PublicKeyCredential || !PublicKeyCredential.parseRequestOptionsFromJSON || !PublicKeyCredential.parseCreationOptionsFromJSON) return;
  const button = part.querySelector("button"), told = part.querySelector("[role=status]");
  part.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    told.textContent = "";
    try {
      if (part.dataset.confirm) {
        const key = await navigator.credentials.get({publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(JSON.parse(part.dataset.confirm))});
        form.elements.assertion.value = JSON.stringify(key.toJSON());
      } else {
        const key = await navigator.credentials.create({publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(JSON.parse(part.dataset.make))});
        form.elements.made.value = JSON.stringify(key.toJSON());
        form.action = part.dataset.to;
      }
      form.submit();
    } catch (e) {
      told.textContent = part.dataset.stopped;
      button.disabled = false;
    }
  });
})();
