// Asks the browser for a passkey. Without this script, and without passkeys,
// the forms on the same pages do everything.
(() => {
  const part = document.getElementById("passkey");
  if (!part || !window.PublicKeyCredential || !PublicKeyCredential.parseRequestOptionsFromJSON || !PublicKeyCredential.parseCreationOptionsFromJSON) return;
  const button = part.querySelector("button"), told = part.querySelector("[role=status]");
  const value = name => (document.querySelector(`form input[name="${name}"]`) || {}).value || "";
  const send = async (to, body) => {
    const answer = await fetch(to, {method: "POST", headers: {"Content-Type": "application/json"}, body: JSON.stringify(body)});
    const given = await answer.json();
    if (!answer.ok) throw new Error(given.says);
    return given;
  };
  part.hidden = false;
  button.addEventListener("click", async () => {
    button.disabled = true;
    told.textContent = "";
    try {
      if (part.dataset.ask === "sign-in") {
        const {ceremony, options} = await send("/sign-in/passkey", {});
        const key = await navigator.credentials.get({publicKey: PublicKeyCredential.parseRequestOptionsFromJSON(options)});
        await send("/sign-in/passkey/answer", {ceremony, response: key.toJSON()});
      } else {
        const {ceremony, options} = await send("/new-passkey", {invite: part.dataset.invite || "", code: value("code"), name: value("name")});
        const key = await navigator.credentials.create({publicKey: PublicKeyCredential.parseCreationOptionsFromJSON(options)});
        await send("/new-passkey/answer", {ceremony, response: key.toJSON()});
      }
      const onward = document.getElementById("onward");
      if (onward) onward.submit(); else location.assign("/account");
    } catch (e) {
      told.textContent = e.name === "Error" && e.message || part.dataset.stopped;
      button.disabled = false;
    }
  });
})();
