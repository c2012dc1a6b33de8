// The link to the computer: a WebSocket, or POSTs where the phone refuses one.
import { Backlog } from "./backlog.js";

const TRIES_BEFORE_POST = 3;
const SLOWEST_RETRY_MS = 1000;
const POST_EVERY_MS = 250;
const MOST_BUFFERED = 2_000_000;

/**
 * Carries one take. Events: `news(object)`, `state("linked" | "waiting" | "refused", text)`.
 */
export class Link {
  constructor({ rate, setup, mode, settings, onNews, onState }) {
    this.hello = { rate, setup, mode, settings, take: null };
    this.backlog = new Backlog(rate);
    this.onNews = onNews;
    this.onState = onState;
    this.fails = 0;
    this.closed = false;
    this.heard = 0;
    this.connect();
  }

  get take() {
    return this.hello.take;
  }

  send(frame) {
    const packed = this.backlog.add(frame);
    if (this.socket?.readyState === WebSocket.OPEN && this.welcomed
        && this.socket.bufferedAmount < MOST_BUFFERED)
      this.socket.send(packed.data);
  }

  /** End the take; the summary comes as news. */
  end() {
    this.ending = true;
    if (this.posting) this.endByPost();
    else if (this.socket?.readyState === WebSocket.OPEN) this.socket.send("end");
  }

  /** Tell the computer something small during the take. */
  say(word) {
    if (this.socket?.readyState === WebSocket.OPEN) this.socket.send(word);
  }

  close() {
    this.closed = true;
    this.socket?.close();
  }

  connect() {
    if (this.closed) return;
    if (this.fails >= TRIES_BEFORE_POST && !this.everLinked) {
      this.post();
      return;
    }
    const scheme = location.protocol === "https:" ? "wss" : "ws";
    this.welcomed = false;
    const socket = new WebSocket(`${scheme}://${location.host}/sound`);
    this.socket = socket;
    socket.binaryType = "arraybuffer";
    socket.onopen = () => socket.send(JSON.stringify(this.hello));
    socket.onmessage = (event) => this.told(JSON.parse(event.data));
    socket.onclose = () => this.lost(socket);
  }

  told(news) {
    if (news.kind === "welcome") {
      this.welcome(news);
      for (const frame of this.backlog.frames) this.socket.send(frame.data);
      if (this.ending) this.socket.send("end");
    } else if (news.kind === "arrived") {
      this.backlog.arrived(news.expect);
    } else if (news.kind === "refused") {
      this.closed = true;
      this.onState("refused", news.text);
    }
    if (news.kind === "ended") this.closed = true;
    this.onNews(news);
  }

  welcome(news) {
    if (this.hello.take !== null && this.hello.take !== news.take) this.backlog.rebase();
    this.hello.take = news.take;
    this.welcomed = true;
    this.everLinked = true;
    this.fails = 0;
    this.backlog.arrived(news.expect);
    this.onState("linked", "");
  }

  lost(socket) {
    if (socket !== this.socket || this.closed) return;
    this.fails += 1;
    this.onState("waiting", "The link to the computer is down. The sound is held here for ten seconds.");
    setTimeout(() => this.connect(), Math.min(SLOWEST_RETRY_MS, 150 * 2 ** this.fails));
  }

  async post() {
    this.posting = true;
    while (!this.closed) {
      try {
        if (!this.welcomed) {
          const news = await ask("/api/sound", JSON.stringify(this.hello));
          this.onNews(news);
          if (news.kind === "refused") {
            this.closed = true;
            this.onState("refused", news.text);
            return;
          }
          this.welcome(news);
        }
        const answer = await ask(
          `/api/sound/${this.take}?heard=${this.heard}`, posted(this.backlog.frames.slice(0, 48)));
        this.heard = answer.heard ?? this.heard;
        if (answer.expect !== undefined) this.backlog.arrived(answer.expect);
        for (const news of answer.news ?? []) this.onNews(news);
        if (answer.error) this.welcomed = false;
        this.onState("linked", "");
      } catch {
        this.welcomed = false;
        this.onState("waiting", "The link to the computer is down. The sound is held here for ten seconds.");
      }
      await new Promise((done) => setTimeout(done, POST_EVERY_MS));
    }
  }

  async endByPost() {
    this.closed = true;
    try {
      const { news } = await ask(`/api/sound/${this.take}/end?heard=${this.heard}`, "");
      for (const told of news) this.onNews(told);
    } catch {
      this.onState("refused", "The computer does not answer. The take is kept there.");
    }
  }
}

async function ask(path, body) {
  return (await fetch(path, { method: "POST", body })).json();
}

/** Frames one after another, each behind its length. */
function posted(frames) {
  const total = frames.reduce((sum, frame) => sum + 4 + frame.data.byteLength, 0);
  const body = new Uint8Array(total);
  const view = new DataView(body.buffer);
  let at = 0;
  for (const { data } of frames) {
    view.setUint32(at, data.byteLength, true);
    body.set(new Uint8Array(data), at + 4);
    at += 4 + data.byteLength;
  }
  return body;
}
