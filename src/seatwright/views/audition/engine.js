"use strict";
/* The player: all versions run together from one instant; gains decide which one is heard.
   Nothing here knows the page, so that the same functions run in an offline context. */

const Engine = (() => {
  const LEAD = 0.005; // seconds ahead of the clock at which changes are scheduled

  /** Build the graph of one stretch of play, silent until `start`.
      options: {fade, levels: gain of each version, current, loop: null or [from, to]} */
  function build(context, buffers, options) {
    const out = context.createGain();
    out.gain.value = 0;
    out.connect(context.destination);
    const graph = { context, out, fade: options.fade, current: options.current, fadeEnd: 0,
      levelEnd: 0, sources: [], gains: [], levels: [], loop: options.loop || null };
    buffers.forEach((buffer, index) => {
      const source = context.createBufferSource();
      source.buffer = buffer;
      if (graph.loop) {
        source.loop = true;
        source.loopStart = graph.loop[0];
        source.loopEnd = graph.loop[1];
      }
      const level = context.createGain();
      level.gain.value = options.levels[index];
      const gain = context.createGain();
      gain.gain.value = index === options.current ? 1 : 0;
      source.connect(level).connect(gain).connect(out);
      graph.sources.push(source);
      graph.gains.push(gain);
      graph.levels.push(level);
    });
    return graph;
  }

  /** Start every version at `when`, from `offset` seconds on. */
  function start(graph, when, offset) {
    graph.startedAt = when;
    graph.offset = offset;
    graph.fadeEnd = graph.levelEnd = when;
    ramp(graph.out.gain, 0, 1, when, graph.fade);
    graph.sources.forEach((source) => source.start(when, offset));
  }

  /** Fade everything out from `when` on and end it. */
  function stop(graph, when) {
    const from = Math.max(when, graph.startedAt + graph.fade);
    ramp(graph.out.gain, 1, 0, from, graph.fade);
    graph.sources.forEach((source) => source.stop(from + graph.fade + 0.01));
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

  return { build, start, stop, switchTo, setLevels, place, levelNoise };
})();
