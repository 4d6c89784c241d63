// Signing: everything that is ready, with the password once more, online; then sending, with what came of it.

import { button, el, note, plate, plural, state } from "../dom.js";
import { flush, sign } from "../outbox.js";

export function signScreen(app) {
  const ready = app.works.filter((work) => work.state === "ready");
  const chosen = new Set(ready.map((work) => work.submission));
  const said = el("p.errors", { id: "said", role: "alert" });
  const progress = el("p", { role: "status" });
  const password = el("input", {
    id: "password",
    type: "password",
    autocomplete: "current-password",
    required: true,
    "aria-describedby": "said",
  });
  const act = el("button.button.on", { type: "submit", form: "signing" }, "Sign and send");
  const form = el(
    "form.form",
    {
      id: "signing",
      onsubmit: (event) => {
        event.preventDefault();
        send();
      },
    },
    el("input", {
      type: "text",
      autocomplete: "username",
      value: app.pack?.person.username ?? "",
      hidden: true,
    }),
    el(
      "div.field",
      {},
      el("label", { for: "password" }, `Password of ${app.person?.name ?? "yours"}`),
      password,
      el("p.hint", {}, "Your signature: these records are as you made them."),
    ),
    said,
    progress,
  );
  const send = async () => {
    if (!password.value) {
      said.textContent = "Enter your password to sign.";
      password.focus();
      return;
    }
    act.disabled = true;
    said.textContent = "";
    progress.textContent = `Signing ${plural(chosen.size, "record")}…`;
    const answer = await sign(app.store, [...chosen], password.value);
    password.value = "";
    if (!answer.ok) {
      progress.textContent = "";
      said.textContent = answer.said || "It could not be signed. Nothing is lost; try again.";
      if (answer.signIn) said.append(" ", el("a", { href: "/sign-in/?next=/field/" }, "Sign in"));
      act.disabled = false;
      password.focus();
      return;
    }
    progress.textContent = "Signed. Sending…";
    await flush(app.store);
    await app.reload();
    if (answer.refused?.length) {
      app.to("#/send");
      return;
    }
    const first = [...chosen][0];
    app.to(chosen.size === 1 ? `#/done/${first}` : "#/");
  };
  if (ready.length === 0) {
    return {
      title: "Sign and send",
      body: [el("p", {}, "Nothing is ready to be signed."), el("a.button.quiet", { href: "#/" }, "My jobs")],
    };
  }
  return {
    title: "Sign and send",
    body: [
      !navigator.onLine &&
        note(
          "warn",
          el("strong", {}, "No connection. "),
          "Your work is saved on this device. Sign it here with your password when you are back on the network.",
        ),
      el(
        "section.sheet",
        {},
        el("h2", {}, plural(ready.length, "record")),
        el(
          "ul.plain.ready",
          {},
          ready.map((work) => readyOf(app, work, chosen)),
        ),
      ),
      navigator.onLine && form,
    ],
    ways: el(
      "div.ways",
      {},
      button("Back", () => history.back(), { kind: ".quiet.back" }),
      navigator.onLine ? act : el("a.button.on", { href: "#/" }, "My jobs"),
    ),
  };
}

function readyOf(app, work, chosen) {
  const id = `sign-${work.submission}`;
  const input = el("input", {
    type: "checkbox",
    id,
    checked: true,
    onchange: () => (input.checked ? chosen.add(work.submission) : chosen.delete(work.submission)),
  });
  return el(
    "li",
    {},
    el(
      "label.tick.large",
      { for: id },
      input,
      el(
        "span",
        {},
        plate(work.facts.job.register.tag),
        el("span.soft", {}, ` ${work.facts.job.register.tank_name}`),
      ),
    ),
    state("hand", "ready"),
    work.trouble && el("p.errors", {}, work.trouble),
    el(
      "button.link",
      {
        type: "button",
        onclick: () => app.openAgain(work),
        "aria-label": `Open ${work.facts.job.register.tag} again`,
      },
      "Open it again",
    ),
  );
}
