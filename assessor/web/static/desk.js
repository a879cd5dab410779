"use strict";
(() => {
  const one = (id) => document.getElementById(id);
  const all = (selector, within = document) => [...within.querySelectorAll(selector)];
  const desk = one("desk");
  const number = (name) => Number(desk.dataset[name]);
  const address = `/licks/${desk.dataset.lick}`;
  const BEFORE_S = 0.5; // recorded before the lick may begin
  const AFTER_S = 1.5; // and after it should have ended
  const LEAD_S = 0.15; // from a press to the first sound
  const SETTLED_S = 1; // gaps before that are the browser starting up
  const HELD_MS = 3000;
  const LONGEST_S = 1800;
  const CLOSING_MS = 1500; // within which a page that lost its input may go away
  const OFF = ["echoCancellation", "noiseSuppression", "autoGainControl"];
  const PROCESSING = { echoCancellation: "echo cancellation", noiseSuppression: "noise suppression", autoGainControl: "automatic gain" };

  let context = null;
  const tempo = () => Number(one("tempo").value);
  const say = (words) => (one("count").textContent = words);
  const warn = (words) => (one("warned").textContent = words);

  function running(rate) {
    if (context && rate && context.sampleRate !== rate) {
      context.close();
      context = null;
    }
    context ||= new AudioContext(rate ? { sampleRate: rate } : {});
    context.resume();
    return context;
  }

  async function sound(path) {
    const answer = await fetch(path);
    if (!answer.ok) throw await sending.refused(answer);
    const bytes = await answer.arrayBuffer();
    return { headers: answer.headers, buffer: await context.decodeAudioData(bytes) };
  }

  function play(buffer, at, from = 0) {
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(context.destination);
    source.start(at, from);
    return source;
  }

  // ------------------------------------------------------------------ hear

  let heard = null;

  function hush() {
    if (heard) heard.stop();
    heard = null;
    one("hear").setAttribute("aria-pressed", "false");
    one("hear").textContent = "Hear it";
  }

  async function hear(fromNote) {
    hush();
    if (!one("how").reportValidity()) return;
    running(context ? context.sampleRate : undefined);
    warn("");
    try {
      const { buffer } = await sound(`${address}/demo.flac?tempo=${tempo()}`);
      const onsets = desk.dataset.onsets.split(" ").map(Number);
      const slower = number("written") / tempo();
      const from = fromNote === undefined ? 0 : Math.max(onsets[fromNote] * slower - 0.03, 0);
      const source = play(buffer, context.currentTime + 0.02, from);
      source.onended = () => source === heard && hush();
      heard = source;
      one("hear").setAttribute("aria-pressed", "true");
      one("hear").textContent = "Stop";
    } catch (problem) {
      warn(problem.message);
    }
  }

  one("hear").addEventListener("click", () => (heard ? hush() : hear()));
  one("how").addEventListener("submit", (event) => event.preventDefault());

  tabOf(document.querySelector(".tab"), {
    press: (index) => hear(index),
    reached: (_, words) => (one("noted").textContent = words),
  });

  document.addEventListener("keydown", (event) => event.key === "Escape" && hush());

  // ----------------------------------------------------------------- input

  let stream = null;
  let recorder = null;
  let peaks = [];

  const ask = (device) =>
    navigator.mediaDevices.getUserMedia({
      audio: {
        ...Object.fromEntries(OFF.map((name) => [name, false])),
        channelCount: { ideal: 1 },
        ...(device ? { deviceId: { exact: device } } : {}),
      },
    });

  const PROBLEMS = {
    NotFoundError: "No microphone or interface was found: plug one in and press again.",
    NotAllowedError: "This page may not use the microphone: allow it in the address bar and press again.",
    NotReadableError: "Another program holds the input: close it and press again.",
    OverconstrainedError: "That input is not there any more: choose another.",
  };

  function close() {
    if (stream) for (const track of stream.getTracks()) track.stop();
    if (recorder) recorder.disconnect();
    stream = recorder = null;
  }

  async function open(device) {
    warn("");
    close();
    if (!navigator.mediaDevices) {
      return warn("This browser gives no microphone to a page like this: it needs https, or this machine's own address.");
    }
    try {
      stream = await ask(device);
    } catch (problem) {
      return warn(PROBLEMS[problem.name] || `The input cannot be opened: ${problem.message}`);
    }
    const [track] = stream.getAudioTracks();
    const settings = track.getSettings();
    await listen(settings.sampleRate);
    await list(settings.deviceId);
    const kept = OFF.filter((name) => settings[name]);
    if (kept.length) {
      const names = kept.map((name) => PROCESSING[name]).join(", ");
      warn(`This browser keeps ${names} on, which ruins a recording of a guitar: the report is not to be trusted. Use another browser, or record with another program and take the file.`);
    }
    track.addEventListener("ended", () => {
      warn("The input went away. What came before is saved.");
      show(false);
      // a page that is being closed loses its input too: its take is cut off, not ended
      const cut = taking;
      setTimeout(() => cut && cut === taking && stop("unplugged"), CLOSING_MS);
    });
    show(true);
    one("record").focus();
  }

  async function listen(rate) {
    try {
      running(rate);
    } catch {
      running();
    }
    await context.audioWorklet.addModule("/static/recorder.js");
    recorder = new AudioWorkletNode(context, "recorder", { numberOfOutputs: 0 });
    recorder.port.onmessage = ({ data }) => take(data);
    context.createMediaStreamSource(stream).connect(recorder);
  }

  async function list(chosen) {
    const inputs = (await navigator.mediaDevices.enumerateDevices()).filter((one) => one.kind === "audioinput");
    one("input").replaceChildren(
      ...inputs.map((input, k) => new Option(input.label || `Input ${k + 1}`, input.deviceId, false, input.deviceId === chosen)),
    );
  }

  function show(opened) {
    one("opened").hidden = !opened;
    one("closed").hidden = opened;
  }

  one("open").addEventListener("click", () => open());
  one("input").addEventListener("change", () => open(one("input").value));

  const words = all("#level-words span").map((span) => span.textContent);
  let saidAt = 0;

  function level(samples) {
    let peak = 0;
    for (const sample of samples) peak = Math.max(peak, Math.abs(sample));
    const now = performance.now();
    peaks = [...peaks.filter(([at]) => now - at < HELD_MS), [now, peak]];
    const held = Math.max(...peaks.map(([, value]) => value));
    const db = (value) => 20 * Math.log10(Math.max(value, 1e-6));
    one("level").value = db(peak);
    one("level-db").textContent = `${db(held).toFixed(0)} dBFS`;
    const which = db(held) <= number("nothing") ? 0 : db(held) < number("low") ? 1 : db(held) < number("high") ? 2 : 3;
    // spoken by screen readers: not more often than once in a second
    if (now - saidAt > 1000 && one("level-said").textContent !== words[which]) {
      one("level-said").textContent = words[which];
      saidAt = now;
    }
  }

  // ---------------------------------------------------------------- record

  let taking = null;

  function take({ first, samples, gaps }) {
    level(samples);
    if (!taking || taking.stopping) return;
    const rate = context.sampleRate;
    for (const gap of gaps) {
      const at = (gap.at - taking.first) / rate;
      if (at >= 0 && gap.at > SETTLED_S * rate) taking.lost.push(at);
    }
    const skip = Math.max(taking.first - first, 0);
    if (skip >= samples.length) return counting(first / rate);
    const end = Math.min(samples.length, Math.ceil(taking.until * rate) - first);
    taking.sending.add(samples.subarray(skip, Math.max(end, skip)));
    const passed = (first + samples.length - taking.first) / rate;
    say(`Recording, ${passed.toFixed(0)} s${taking.lost.length ? `, sound lost at ${taking.lost.length} place${taking.lost.length > 1 ? "s" : ""}` : ""}`);
    if (end < samples.length) stop("passes");
    else if (passed > LONGEST_S) stop("time");
  }

  function counting(now) {
    if (taking.start - now > 0) say(`Counting in, ${Math.ceil(taking.start - now)} s`);
  }

  async function record() {
    if (!one("how").reportValidity()) return;
    hush();
    warn("");
    one("record").disabled = true;
    try {
      await begin();
    } catch (problem) {
      warn(problem.message);
      say("");
    }
    one("record").disabled = false;
    one("record").focus();
  }

  async function begin() {
    const rate = context.sampleRate;
    const kind = one("click").value;
    const clicks = await sound(`${address}/clicks.wav?tempo=${tempo()}&kind=${kind}&rate=${rate}`);
    const header = (name) => Number(clicks.headers.get(name));
    const [start, sent, pass] = ["x-start-s", "x-sent-s", "x-pass-s"].map(header);
    const answer = await sending.post("/takes", {
      lick: desk.dataset.lick,
      tempo_bpm: tempo(),
      tolerance: one("tolerance").value,
      click: kind,
      sample_rate_hz: rate,
      input: one("input").selectedOptions[0]?.label || "",
    });
    const { take: name } = await answer.json();
    await context.resume();
    const silent = kind === "none";
    const at = context.currentTime + LEAD_S;
    const begins = silent ? at : at + start;
    const first = Math.round((silent ? at : Math.max(begins - BEFORE_S, at)) * rate);
    const passes = Number(one("passes").value);
    const source = silent ? null : clicked(clicks.buffer, at, start, pass, kind);
    taking = {
      name,
      source,
      first,
      start: begins,
      until: passes ? begins + passes * pass + AFTER_S : Infinity,
      sent: silent ? null : at + sent - first / rate,
      lost: [],
      sending: new sending.Sending(name, rate, warn),
    };
    one("record").textContent = "Stop";
    one("cancel").hidden = false;
  }

  function clicked(buffer, at, start, pass, kind) {
    const source = context.createBufferSource();
    source.buffer = buffer;
    source.connect(context.destination);
    if (kind !== "count-in") Object.assign(source, { loop: true, loopStart: start, loopEnd: start + pass });
    source.start(at);
    return source;
  }

  function released() {
    const ended = taking;
    taking = null;
    if (ended.source) ended.source.stop();
    one("record").textContent = "Record again";
    one("cancel").hidden = true;
    return ended;
  }

  async function stop(why) {
    if (!taking || taking.stopping) return;
    taking.stopping = true;
    const ended = taking;
    say("Sending …");
    if (ended.source) ended.source.stop();
    try {
      await ended.sending.finish({ dropouts_s: ended.lost, click_sent_s: ended.sent, ended: why });
      ended.source = null;
      released();
      say("");
      answered(ended.name);
    } catch (problem) {
      ended.source = null;
      released();
      say("");
      warn(`This take could not be sent: ${problem.message}`);
    }
  }

  async function cancel() {
    const ended = released();
    say("");
    one("record").textContent = "Record";
    await sending.post(`/takes/${ended.name}/discard`, {}).catch(() => {});
    one("record").focus();
  }

  one("record").addEventListener("click", () => (taking ? stop("key") : record()));
  one("cancel").addEventListener("click", cancel);
  addEventListener("pagehide", () => taking && taking.sending.leave());

  function answered(name) {
    htmx.ajax("GET", `/takes/${name}`, { target: "#result", swap: "innerHTML" }).then(() => one("result").focus());
  }

  // ------------------------------------------------------------------ file

  async function dropped(file) {
    if (!file || !one("how").reportValidity()) return;
    warn("");
    say("Sending …");
    try {
      const answer = await sending.post("/takes", {
        lick: desk.dataset.lick,
        tempo_bpm: tempo(),
        tolerance: one("tolerance").value,
      });
      const { take: name } = await answer.json();
      const ending = file.name.split(".").pop();
      const put = await sending.ask("PUT", `/takes/${name}/file?ending=${encodeURIComponent(ending)}`, file);
      if (!put.ok) {
        await sending.post(`/takes/${name}/discard`, {}).catch(() => {});
        throw await sending.refused(put);
      }
      answered(name);
    } catch (problem) {
      warn(`The file could not be sent: ${problem.message}`);
    }
    say("");
  }

  const drop = one("drop");
  one("file").addEventListener("change", () => dropped(one("file").files[0]));
  for (const name of ["dragover", "dragleave", "drop"]) {
    drop.addEventListener(name, (event) => {
      event.preventDefault();
      drop.classList.toggle("over", name === "dragover");
      if (name === "drop") dropped(event.dataTransfer.files[0]);
    });
  }
})();
