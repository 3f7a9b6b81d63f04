// Observations on their way to the notebook. Each has an id of its own and is kept in this browser until the notebook
// has said that it is written down; the same id twice is one observation, so sending again does no harm.
"use strict";
(function () {
  const KEPT = "truerun.outbox", REFUSED = "truerun.refused";
  const line = document.getElementById("outbox");
  const waiters = new Map();
  let busy = false, pause = 500, timer = 0;

  // over plain http from another machine a browser has no randomUUID
  const fresh = () => (crypto.randomUUID ? crypto.randomUUID()
    : Array.from(crypto.getRandomValues(new Uint8Array(16)), (byte) => byte.toString(16).padStart(2, "0")).join(""));
  const read = (key) => { try { return JSON.parse(localStorage.getItem(key)) || []; } catch { return []; } };
  const write = (key, rows) => localStorage.setItem(key, JSON.stringify(rows));

  function say(text, trouble, ...more) {
    if (line.textContent !== [text, ...more.map((each) => each.textContent)].join("")) line.replaceChildren(text, ...more);
    line.classList.toggle("trouble", Boolean(trouble));
  }

  // what was refused is said on every page until somebody has read it
  function seen() {
    const button = document.createElement("button");
    button.type = "button";
    button.className = "btn";
    button.textContent = "I have read this";
    button.addEventListener("click", () => { write(REFUSED, read(REFUSED).slice(1)); say(""); tell(""); });
    return button;
  }

  function tell(why) {
    const waiting = read(KEPT).length, refused = read(REFUSED);
    if (refused.length) return say(`Not written down: ${refused[0].sentence}`, true, seen());
    if (!waiting) return say("");
    const what = waiting === 1 ? "1 observation waits" : `${waiting} observations wait`;
    if (why) say(`${what}: ${why} Kept in this browser, and sent again.`, true);
  }

  // another tab may have put something in meanwhile: only this row is taken out
  function done(row, answer) {
    write(KEPT, read(KEPT).filter((each) => each.id !== row.id).map((each) => renamed(each, row, answer)));
    const waiter = waiters.get(row.id);
    waiters.delete(row.id);
    waiters.forEach((each) => { each.row = renamed(each.row, row, answer); });
    if (waiter) waiter.resolve(answer);
  }

  // another tab may have sent a row of this page and had its answer: sent again it is the same one, answered alike
  function askAgain() {
    const rows = read(KEPT), there = new Set(rows.map((each) => each.id));
    const gone = [...waiters.values()].map((each) => each.row).filter((row) => !there.has(row.id));
    if (gone.length) write(KEPT, [...gone, ...rows]);
  }

  // the notebook may know this run by another id, where another page had begun it
  function renamed(each, row, answer) {
    if (row.body.what !== "begin" || !answer || !answer.run || each.body.run !== row.id) return each;
    return { ...each, body: { ...each.body, run: answer.run } };
  }

  async function sendFirst() {
    const row = read(KEPT)[0];
    if (!row) return false;
    let answer;
    try {
      answer = await fetch(row.url, {
        method: "POST", credentials: "same-origin", signal: AbortSignal.timeout(10000),
        headers: { "content-type": "application/json", accept: "application/json" },
        body: JSON.stringify({ ...row.body, sender: row.id }),
      });
    } catch {
      throw new Error("truerun does not answer.");
    }
    if (answer.status === 401) throw new Error("open truerun with the new link that it printed.");
    if (answer.status >= 500) throw new Error("the notebook cannot write now.");
    const told = await answer.json().catch(() => ({ sentence: `answer ${answer.status}.` }));
    if (!answer.ok) {
      write(REFUSED, [...read(REFUSED).filter((each) => each.id !== row.id), { ...row, sentence: told.sentence }]);
      done(row, null);
    } else {
      done(row, told);
    }
    return true;
  }

  async function flush() {
    if (busy) return;
    busy = true;
    clearTimeout(timer);
    let why = "";
    try {
      const work = async () => { askAgain(); while (await sendFirst()) pause = 500; };
      await (navigator.locks ? navigator.locks.request("truerun.outbox", work) : work());
    } catch (error) {
      why = error.message;
    }
    busy = false;
    tell(why);
    if (why) {
      timer = setTimeout(flush, pause);
      pause = Math.min(pause * 2, 8000);
    } else if (read(KEPT).length || waiters.size) {
      flush(); // put in while the last answer came, or written over by another tab
    } else {
      document.dispatchEvent(new Event("truerun:sent"));
    }
  }

  window.truerunOutbox = {
    put(url, body, id) {
      const row = { id: id || fresh(), url, body };
      write(KEPT, [...read(KEPT), row]);
      const answered = new Promise((resolve) => waiters.set(row.id, { row, resolve }));
      flush();
      return { id: row.id, answered };
    },
    flush,
    waiting: () => read(KEPT).length,
  };

  addEventListener("online", flush);
  document.addEventListener("visibilitychange", () => { if (!document.hidden) flush(); });
  tell(read(KEPT).length ? "they are being sent." : "");
  flush();
})();
