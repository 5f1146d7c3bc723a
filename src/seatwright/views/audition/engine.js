"use strict";
/* The engine: one source holds all versions side by side, so that they cannot run apart; gains decide
   which one is heard. Nothing here knows the page: the same functions run in an offline context. */

const Engine = (() => {
  const LEAD = 0.005; // seconds ahead of the clock at which changes are scheduled

  /** A buffer for `count` versions of two channels, side by side. */
  const joined = (context, count, length) => (
    context.createBuffer(2 * count, length, context.sampleRate));

  /** Put a decoded version at its place in a joined buffer; one channel is heard on both sides. */
  function join(buffer, place, decoded) {
    [0, 1].forEach((side) => {
      const from = Math.min(side, decoded.numberOfChannels - 1);
      buffer.copyToChannel(decoded.getChannelData(from), 2 * place + side);
    });
  }

  /** Build the graph of one stretch of play, silent until `start`.
      options: {fade, places: of each version in the buffer, levels: gain of each version, current,
      loop: null or [from, to]} */
  function build(context, buffer, options) {
    const out = context.createGain();
    out.gain.value = 0;
    out.connect(context.destination);
    const source = context.createBufferSource();
    source.buffer = buffer;
    const splitter = context.createChannelSplitter(buffer.numberOfChannels);
    source.connect(splitter);
    const graph = { context, out, source, fade: options.fade, current: options.current, fadeEnd: 0,
      levelEnd: 0, gains: [], levels: [], loop: options.loop || null };
    if (graph.loop) {
      source.loop = true;
      [source.loopStart, source.loopEnd] = graph.loop;
    }
    options.places.forEach((place, index) => {
      const pair = context.createChannelMerger(2);
      splitter.connect(pair, 2 * place, 0);
      splitter.connect(pair, 2 * place + 1, 1);
      const level = context.createGain();
      level.gain.value = options.levels[index];
      const gain = context.createGain();
      gain.gain.value = index === options.current ? 1 : 0;
      pair.connect(level).connect(gain).connect(out);
      graph.gains.push(gain);
      graph.levels.push(level);
    });
    return graph;
  }

  /** Start at `when`, from `offset` seconds on. */
  function start(graph, when, offset) {
    graph.startedAt = when;
    graph.offset = offset;
    graph.fadeEnd = graph.levelEnd = when;
    ramp(graph.out.gain, 0, 1, when, graph.fade);
    graph.source.start(when, offset);
  }

  /** Fade everything out from `when` on and end it. */
  function stop(graph, when) {
    const from = Math.max(when, graph.startedAt + graph.fade);
    ramp(graph.out.gain, 1, 0, from, graph.fade);
    graph.source.stop(from + graph.fade + 0.01);
    return from + graph.fade;
  }

  /** Cross over linearly to another version; the two gains add up to 1 at every instant.
      A change during a crossfade waits for its end: no gain ever jumps. */
  function switchTo(graph, index, now) {
    if (index === graph.current) {
      return graph.fadeEnd;
    }
    const when = Math.max(now + LEAD, graph.fadeEnd);
    ramp(graph.gains[graph.current].gain, 1, 0, when, graph.fade);
    ramp(graph.gains[index].gain, 0, 1, when, graph.fade);
    graph.current = index;
    graph.fadeEnd = when + graph.fade;
    return when;
  }

  /** Change the level of every version to `levels`, linearly. */
  function setLevels(graph, old, levels, now) {
    const when = Math.max(now + LEAD, graph.levelEnd);
    graph.levels.forEach((level, i) => ramp(level.gain, old[i], levels[i], when, graph.fade));
    graph.levelEnd = when + graph.fade;
  }

  function ramp(gain, from, to, when, seconds) {
    gain.setValueAtTime(from, when);
    gain.linearRampToValueAtTime(to, when + seconds);
  }

  /** Seconds into the music at a time of the context's clock. */
  function place(graph, time, length) {
    const at = graph.offset + Math.max(0, time - graph.startedAt);
    if (!graph.loop) {
      return Math.min(at, length);
    }
    const [from, to] = graph.loop;
    return at < to ? at : from + ((at - from) % (to - from));
  }

  /** Noise that falls by 3 dB an octave, as loud as `buffer`, for setting the level. */
  function levelNoise(context, buffer, seconds) {
    const music = buffer.getChannelData(0);
    const noise = context.createBuffer(1, Math.round(seconds * buffer.sampleRate), buffer.sampleRate);
    const samples = noise.getChannelData(0);
    const state = [0, 0, 0];
    for (let i = 0; i < samples.length; i += 1) {
      const white = 2 * Math.random() - 1;
      state[0] = 0.99765 * state[0] + white * 0.099046; // three poles after P. Kellet
      state[1] = 0.963 * state[1] + white * 0.2965164;
      state[2] = 0.57 * state[2] + white * 1.0526913;
      samples[i] = state[0] + state[1] + state[2] + white * 0.1848;
    }
    const gain = Math.min(rms(music) / rms(samples), 0.5 / peak(samples));
    for (let i = 0; i < samples.length; i += 1) {
      samples[i] *= gain;
    }
    return noise;
  }

  function rms(samples) {
    let sum = 0;
    for (let i = 0; i < samples.length; i += 1) {
      sum += samples[i] * samples[i];
    }
    return Math.sqrt(sum / samples.length);
  }

  function peak(samples) {
    let most = 0;
    for (let i = 0; i < samples.length; i += 1) {
      most = Math.max(most, Math.abs(samples[i]));
    }
    return most;
  }

  return { joined, join, build, start, stop, switchTo, setLevels, place, levelNoise };
})();
