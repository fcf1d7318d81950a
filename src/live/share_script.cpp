#include "share_text.hpp"

namespace hushtrace {

// ES2017 and nothing newer: phones that lie in a glove box are old. All text goes in as text, never as markup.
std::string_view share_script() {
    return R"page(
'use strict';
(() => {
  const base = '/' + location.pathname.split('/')[1];
  const at = (id) => document.getElementById(id);
  const put = (id, text) => { const one = at(id); if (one.textContent !== text) one.textContent = text; };
  const figure = (value, unit) => {
    put('value', value);
    put('unit', unit);
    const letters = (value + unit).length;
    at('figure').className = letters > 9 ? 'longest' : letters > 6 ? 'long' : '';
  };
  const known = (x) => typeof x === 'number' && isFinite(x);
  const fixed = (x, places) => (known(x) ? x.toFixed(places).replace('-', '\u2212') : '\u2013');
  const signed = (x) => (known(x) && x > 0 ? '+' : '') + fixed(x, 1);
  const plain = (name) => name.replace('_', ' ');
  const silent_ms = 3500, dead_ms = 8000;

  // word, shape, class
  const tones = {
    absent: ['no tone', '\u25CB', 'dim'], moving: ['turning', '\u2026', 'dim'], clean: ['clean', '\u2713', ''],
    distorted: ['too much', '\u25B2', 'bad'], unsure: ['unsure', '?', 'dim'], overloaded: ['input full', '\u25A0', 'bad'],
  };

  let newest = null, figuresAt = 0, heard = Date.now(), opened = null, over = false, lastEvent = 0, linked = false, happened = 0;

  // ---- what is shown
  const volts = (v) => (v < 0.1 ? [fixed(1000 * v, v < 0.01 ? 2 : 1), 'mV'] : [fixed(v, v < 10 ? 3 : 2), 'V']);
  const together = (parts) => parts.join('\u00A0');
  const percent = (x) => fixed(x, x < 1 ? 3 : 1) + '\u00A0%';
  const levelOf = (one) => (known(one.level_v) ? volts(one.level_v) : [fixed(one.level_dbfs, 1), 'dBFS']);
  const stateChip = (tone) => {
    const [word, shape, kind] = tones[tone] || tones.absent;
    const chip = document.createElement('span');
    chip.className = 'state ' + kind;
    chip.textContent = shape + ' ' + word;
    return chip;
  };
  const replace = (id, parts) => {
    const one = at(id);
    while (one.firstChild) one.removeChild(one.firstChild);
    for (const part of parts) one.appendChild(typeof part === 'string' ? document.createTextNode(part) : part);
  };
  const stepText = (step) => 'step\u00A0' + step.number + (known(step.volume) ? ', volume\u00A0' + step.volume : '') + ', ' +
    together(levelOf(step)) + ', ' + percent(step.thd_percent) + ' distortion';

  const showLevels = (s) => {
    const shown = s.levels.find((one) => one.channel === s.leading);
    if (!shown) { replace('whose', []); figure('\u2013', ''); put('beside', ''); replace('others', []); return; }
    const tone = s.task === 'gain';
    replace('whose', [plain(shown.channel)].concat(tone ? [stateChip(s.tone)] : [], known(s.volume) ? ['volume\u00A0' + s.volume] : []));
    const [value, unit] = levelOf(shown);
    figure(value, unit);
    const beside = [];
    if (known(shown.thd_percent)) beside.push('distortion\u00A0' + percent(shown.thd_percent));
    if (known(shown.level_dbv)) beside.push(fixed(shown.level_dbv, 2) + '\u00A0dBV');
    beside.push('peak\u00A0' + fixed(shown.peak_dbfs, 1) + '\u00A0dBFS');
    put('beside', beside.join('\u00A0\u00B7 '));
    const rows = [];
    for (const one of s.levels) {
      if (one === shown) continue;
      const row = document.createElement('p');
      const word = (tones[one.tone] || tones.absent).slice(0, 2).reverse().join(' ');
      for (const text of [plain(one.channel), together(levelOf(one)), tone ? word : 'peak ' + fixed(one.peak_dbfs, 1)]) {
        const part = document.createElement('span');
        part.textContent = text;
        row.appendChild(part);
      }
      rows.push(row);
    }
    replace('others', rows);
    const last = s.steps.length ? s.steps[s.steps.length - 1] : null;
    put('found', s.ceiling ? (s.ceiling.final ? 'Ceiling: ' : 'Clean so far: ') + stepText(s.ceiling.step)
      : last ? 'Last: ' + stepText(last) : '');
  };

  const verdicts = {
    quieter: '\u25BC quieter than at the start', louder: '\u25B2 louder than at the start', same: 'as at the start',
    hidden: '', not_started: 'no start yet', not_heard: 'not heard',
  };
  const showFollow = (s) => {
    const f = s.follow, unit = f.calibrated ? ' dBV' : ' dBFS';
    replace('whose', [f.name + (known(f.frequency_hz) ? ', ' + fixed(f.frequency_hz, 0) + ' Hz' : '')]);
    const changed = known(f.change_db);
    figure((f.at_most ? '\u2264' : '') + (changed ? signed(f.change_db) : fixed(f.level_db, 1)), changed ? 'dB' : unit.trim());
    const way = f.looking ? 'looking for it' : verdicts[f.verdict] || '';
    put('beside', way + (f.at_most ? (way ? '; ' : '') + 'covered by other noise: at most this' : ''));
    put('found', 'now ' + fixed(f.level_db, 1) + (known(f.sd_db) ? ' \u00B1 ' + fixed(2 * f.sd_db, 1) : '') + unit + ', lowest ' +
      fixed(f.lowest_db, 1) + ', start ' + fixed(f.start_db, 1));
    replace('others', []);
  };

  const trouble = (s) => {
    const said = [];
    if (s.failure) said.push(s.failure);
    if (s.dropouts > 0) said.push(s.dropouts + (s.dropouts === 1 ? ' break' : ' breaks') + ' in the sound');
    if (s.overloads > 0) said.push('input overloaded ' + s.overloads + (s.overloads === 1 ? ' time' : ' times'));
    return said.join('. ');
  };

  const show = (s) => {
    newest = s;
    figuresAt = Date.now();
    put('title', s.title || 'Hushtrace');
    document.title = s.title || 'Hushtrace';
    put('headline', s.headline || (s.state === 'waiting' ? 'Ready.' : s.state === 'running' ? 'Measuring.' : 'Ended.'));
    put('next', s.next);
    put('trouble', trouble(s));
    put('stored', (s.armed ? 'Armed: a jump of the level stores the last minute. ' : '') + (s.kept > 0 ? 'Stored: ' + s.kept : ''));
    if (s.follow) showFollow(s); else showLevels(s);
    buttons();
  };

  const tell = (e) => {
    if (!(e.number > lastEvent)) return;
    lastEvent = e.number;
    happened += 1;
    line(fixed(e.time_s, 1) + ' s  ' + e.text);
  };
  const line = (text) => {
    put('newest', text);
    const list = at('happened'), one = document.createElement('li');
    one.textContent = text;
    list.insertBefore(one, list.firstChild);
    if (list.childNodes.length > 100) list.removeChild(list.lastChild);
  };

  // ---- buttons
  let sureUntil = 0;
  const roles = (s) => {
    if (!s || s.state === 'waiting') return { big: ['start', 'Start'], second: ['stepped_down', 'One back', true] };
    if (s.task === 'follow')
      return { big: ['reference', 'Count from here'], second: ['arm', s.armed ? 'Disarm' : 'Arm'] };
    return s.turns_volume ? { big: ['stepped_up', 'Turn up one'], second: ['stepped_down', 'Turn back'] }
      : { big: ['stepped_up', 'I turned it up one'], second: ['stepped_down', 'One back'] };
  };
  const buttons = () => {
    const ended = over || !newest || newest.state === 'ended', now = roles(newest);
    put('big', ended && newest ? 'Ended' : now.big[1]);
    put('second', now.second[1]);
    at('big').disabled = ended;
    at('second').disabled = ended || now.second[2] === true;
    for (const id of ['mark', 'keep', 'stop']) at(id).disabled = ended;
    at('keep').hidden = !newest || newest.task !== 'follow';
    at('buttons').className = at('keep').hidden ? 'three' : '';
    const sure = Date.now() < sureUntil;
    at('stop').className = sure ? 'sure' : '';
    put('stop', sure ? 'Really stop?' : 'Stop');
  };
  let answerUntil = 0;
  const answer = (text, bad) => {
    put('answer', text);
    at('answer').className = bad ? 'bad' : '';
    answerUntil = Date.now() + (bad ? 8000 : 2500);
  };
  const ask = (word, label) => {
    const request = new XMLHttpRequest();
    request.open('POST', base + '/ask');
    request.timeout = 4000;
    request.setRequestHeader('X-Hushtrace', 'ask');
    request.setRequestHeader('Content-Type', 'text/plain');
    request.onload = () => (request.status === 204 ? answer('\u2713 ' + label, false)
      : answer('\u2717 Not done: ' + label + '. ' + request.responseText, true));
    request.onerror = request.ontimeout = () => answer('\u2717 Not sent: ' + label + '. Press again once connected.', true);
    answer('\u2026 ' + label, false);
    request.send(word);
    if (navigator.vibrate) navigator.vibrate(30);
    keepAwake();
  };
  at('big').onclick = () => { const [word, label] = roles(newest).big; ask(word, label); };
  at('second').onclick = () => { const [word, label] = roles(newest).second; ask(word, label); };
  at('mark').onclick = () => ask('mark', 'Mark');
  at('keep').onclick = () => ask('keep', 'Keep the last minute');
  at('stop').onclick = () => {
    if (Date.now() < sureUntil) { sureUntil = 0; ask('stop', 'Stop'); } else { sureUntil = Date.now() + 4000; }
    buttons();
  };

  // ---- the connection
  const connected = () => { heard = Date.now(); linked = true; status(); };
  const status = () => {
    const now = Date.now(), silent = now - heard, lost = !over && (!linked || silent > silent_ms);
    const stuck = !over && !lost && newest && newest.state !== 'ended' && now - figuresAt > silent_ms;
    const since = (ms) => ' since ' + Math.round(ms / 1000) + ' s';
    document.body.className = lost || stuck ? 'lost' : '';
    put('link', over ? 'ended' : lost ? '\u2717 not connected' + since(silent) : stuck ? '! no figures' + since(now - figuresAt)
      : '\u2713 connected');
  };
  const open = () => {
    if (over) return;
    if (opened) opened.close();
    const source = new EventSource(base + '/events?after=' + lastEvent);
    opened = source;
    const on = (name, act) => source.addEventListener(name, (message) => {
      connected();
      if (act) act(JSON.parse(message.data));
    });
    on('snapshot', show);
    on('event', tell);
    on('beat', null);
    on('gap', (gap) => line(gap.missed + ' earlier lines are gone.'));
    on('closed', () => { over = true; source.close(); status(); buttons(); });
    source.onopen = connected;
    source.onerror = () => {
      if (opened !== source || over) return;
      linked = false;
      status();
      if (source.readyState === 2) { opened = null; why(); setTimeout(() => { if (!opened) open(); }, 2000); }
    };
  };
  // An event source doesn't say why it was refused.
  const why = () => {
    const request = new XMLHttpRequest();
    request.open('GET', base + '/events');
    request.timeout = 2000;
    request.onreadystatechange = () => {
      if (request.readyState === 2 && request.status === 200) request.abort();
      else if (request.readyState === 4 && request.status >= 400 && request.responseText) answer('\u2717 ' + request.responseText, true);
    };
    request.send();
  };
  setInterval(() => {
    status();
    buttons();
    if (answerUntil && Date.now() > answerUntil) { answerUntil = 0; put('answer', ''); at('answer').className = ''; }
    // a phone that left the network may believe for minutes that it is connected
    if (!over && opened && Date.now() - heard > dead_ms) { linked = false; reopen(); }
  }, 500);
  let reopened = 0;
  const reopen = () => { if (Date.now() - reopened > 4000) { reopened = Date.now(); open(); } };

  // ---- the screen
  let lock = null;
  const keepAwake = () => {
    if (!navigator.wakeLock) { at('dims').hidden = false; return; }
    if (lock || document.visibilityState !== 'visible') return;
    navigator.wakeLock.request('screen').then((one) => { lock = one; one.addEventListener('release', () => { lock = null; }); })
      .catch(() => { at('dims').hidden = false; });
  };
  document.addEventListener('visibilitychange', () => {
    if (document.visibilityState !== 'visible') return;
    keepAwake();
    if (Date.now() - heard > silent_ms) reopen();
  });
  window.addEventListener('online', reopen);
  keepAwake();
  open();
})();
)page";
}

}  // namespace hushtrace
