// The audio thread: takes orders from the page, and tells it what sounded.
registerProcessor("beatfield", class extends AudioWorkletProcessor {
  constructor({processorOptions}) {
    super();
    this.player = new Player(sampleRate, processorOptions.recipes);
    this.taken = 0;
    this.heard = new Float32Array(1024);
    this.port.onmessage = ({data}) => this.player[data.order](...data.with);
    for (const {order, with: given} of processorOptions.orders || []) this.player[order](...given);
  }
  process(inputs, [[channel, ...others]]) {
    this.player.render(channel, channel.length);
    for (const other of others) other.set(channel);
    this.heard.set(channel, this.taken);
    this.taken += channel.length;
    if (this.taken === this.heard.length) {
      const time = currentTime + channel.length / sampleRate;
      this.port.postMessage({samples: this.heard.slice(), time, state: this.player.report()});
      this.taken = 0;
    }
    return true;
  }
});
