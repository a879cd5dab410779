"use strict";
// Sends things to the server, and goes on where it was when the server was away.
const sending = (() => {
  const PIECE_S = 0.5;
  const AGAIN_MS = 1000;
  const TRIES = 600;
  const LAST_BYTES = 60000; // what a browser still sends for a page that is closed

  let word = document.body.dataset.word;
  const wait = (ms) => new Promise((done) => setTimeout(done, ms));

  const ask = (method, address, body, more = {}) =>
    fetch(address, { method, body, headers: { "x-csrf-token": word }, ...more });

  // A session that ended, or a server that was started again, gives another word.
  async function renewed() {
    const answer = await fetch("/word");
    if (answer.ok) {
      word = await answer.text();
      document.body.setAttribute("hx-headers", JSON.stringify({ "x-csrf-token": word }));
    }
    return answer.ok;
  }

  async function refused(answer) {
    const said = await answer.text();
    return Object.assign(new Error(said || answer.statusText), { status: answer.status });
  }

  async function post(address, value) {
    const answer = await ask("POST", address, JSON.stringify(value));
    if (!answer.ok) throw await refused(answer);
    return answer;
  }

  // One take on its way.  `say` is told when it has to wait for the server.
  class Sending {
    constructor(take, rate, say) {
      Object.assign(this, { take, say, sent: 0, held: [], count: 0, busy: null });
      this.least = Math.round(rate * PIECE_S);
      this.failed = null;
    }

    add(samples) {
      this.held.push(samples);
      this.count += samples.length;
      if (this.count >= this.least && !this.busy) this.busy = this.pump();
    }

    all() {
      const whole = new Float32Array(this.count);
      let at = 0;
      for (const part of this.held) {
        whole.set(part, at);
        at += part.length;
      }
      return whole;
    }

    // Everything that is held, in one piece; what came meanwhile is held again.
    async piece() {
      const body = this.all().subarray(0, 8 * this.least);
      for (let tries = 0; tries < TRIES; tries += 1) {
        const answer = await this.put(body);
        if (answer) {
          const rest = this.all().subarray(body.length);
          this.held = [rest];
          this.count = rest.length;
          this.sent += body.length;
          return;
        }
        await wait(AGAIN_MS);
      }
      throw new Error("the server did not come back");
    }

    async put(body) {
      let answer;
      try {
        answer = await ask("PUT", `/takes/${this.take}/sound?from=${this.sent}`, body);
        if (answer.status === 401 || answer.status === 403) {
          this.say("The server does not know this page any more: open its link, or sign in, in another tab. Nothing is lost as long as this page stays open.");
          await renewed();
          return false;
        }
      } catch {
        this.say("The server is away. What you play is held here and sent when it is back.");
        return false;
      }
      if (!answer.ok) throw await refused(answer);
      this.say("");
      return true;
    }

    async pump() {
      try {
        while (this.count >= this.least) await this.piece();
      } catch (problem) {
        this.failed = problem;
        this.say(problem.message);
      }
      this.busy = null;
    }

    async finish(ending) {
      while (this.busy) await this.busy;
      while (this.count && !this.failed) await this.piece();
      if (this.failed) throw this.failed;
      for (let tries = 0; ; tries += 1) {
        try {
          return await post(`/takes/${this.take}/end`, ending);
        } catch (problem) {
          if (problem.status || tries >= TRIES) throw problem;
          await wait(AGAIN_MS);
        }
      }
    }

    // The page goes away: what fits is sent all the same.
    leave() {
      const last = this.all().slice(0, LAST_BYTES / 4);
      if (!last.length || this.busy) return;
      const address = `/takes/${this.take}/sound?from=${this.sent}`;
      ask("PUT", address, last, { keepalive: true }).catch(() => {});
    }
  }

  return { Sending, ask, post, refused };
})();
