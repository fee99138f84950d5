// A dialog for one question, and the signed requests behind it.
import { make } from "/dom.js";
import { keep, preferences } from "/preferences.js";

// Shows `body`; resolves to what `read()` gives on OK, to null on cancel. `read` throws an Error
// with what is wrong and what to do. `cancel` null: there is nothing to decide, only to read.
export function ask({ title, body, ok = "OK", cancel = "Cancel", read = () => true, ready = null, id = "ask" }) {
  return new Promise((resolve) => {
    const problem = make("p", { className: "problem" });
    problem.setAttribute("role", "alert");
    const yes = make("button", { type: "submit", className: "main", textContent: ok });
    const no = make("button", { type: "button", textContent: cancel ?? "", hidden: cancel === null });
    const heading = make("h2", { textContent: title, id: `${id}-title` });
    const form = make("form", { noValidate: true }, heading, ...body, problem, make("div", { className: "buttons" }, no, yes));
    const dialog = make("dialog", { id, "aria-labelledby": `${id}-title` }, form);
    const end = (value) => { dialog.close(); dialog.remove(); resolve(value); };
    form.onsubmit = (event) => {
      event.preventDefault();
      let value = null;
      try { value = read(); } catch (error) { problem.textContent = error.message; return; }
      // `undefined`: the question goes on (a guided step).
      if (value !== undefined) end(value);
    };
    no.onclick = () => end(null);
    dialog.oncancel = (event) => { event.preventDefault(); end(null); };
    document.body.append(dialog);
    dialog.showModal();
    ready?.({ yes, problem, dialog });
  });
}

// A labelled field.
export function field(label, properties = {}) {
  const input = make(properties.rows ? "textarea" : "input", properties);
  input.id ||= `field-${label.replace(/\W+/g, "-")}`;
  return { input, nodes: [make("label", { htmlFor: input.id, textContent: label }), input] };
}

// Who says so: remembered on this screen, written into the record with each mark.
export function authorField() {
  const author = field("your name or position", { value: preferences.author, maxLength: 80, autocomplete: "off", id: "author" });
  return {
    nodes: author.nodes,
    read: () => {
      const name = author.input.value.trim();
      if (name === "") throw new Error("Who marks this? Write a name or a position.");
      keep("author", name);
      return name;
    },
  };
}

const said = async (answer) => {
  try { return (await answer.json()).error ?? `${answer.status}`; } catch { return `${answer.status}`; }
};

const send = (path, body) => fetch(path, {
  method: "POST",
  headers: { "content-type": "application/json" },
  body: JSON.stringify(body),
});

export async function signIn() {
  const token = field("token of this daemon", { type: "password", autocomplete: "current-password", id: "token" });
  const value = await ask({ id: "sign-in", title: "Sign in to change something", body: token.nodes, ok: "Sign in", read: () => token.input.value });
  if (value === null) return false;
  const answer = await send("/api/v1/session", { token: value });
  if (!answer.ok) throw new Error(await said(answer));
  return true;
}

// Posts a change; asks for the token when it is wanted. Throws what went wrong, in words.
export async function post(path, body) {
  let answer = null;
  try {
    answer = await send(path, body);
    if (answer.status === 401 && await signIn()) answer = await send(path, body);
  } catch (error) {
    throw error instanceof TypeError ? new Error("the daemon does not answer: nothing was recorded") : error;
  }
  if (!answer.ok) throw new Error(await said(answer));
}
