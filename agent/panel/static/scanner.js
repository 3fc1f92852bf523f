// Labels from a scanner that types like a keyboard: keys that follow each other
// faster than people type, with Enter behind them. They touch nothing and fill no
// field; keys that people type are left alone.
const FAST = 40; // ms between two keys of a scanner; people take twice as long (common practice, no source)
const LEAST = 4; // keys that make a label

export function scanner(scanned) {
  let text = '';
  let last = 0;
  let before = null; // what was in the field that the keys went to

  addEventListener('keydown', (e) => {
    const fast = e.timeStamp - last < FAST;
    last = e.timeStamp;
    if (e.key === 'Enter') {
      const label = text;
      text = '';
      if (!fast || label.length < LEAST) return;
      e.preventDefault();
      e.stopPropagation();
      if (before?.field) before.field.value = before.value;
      scanned(label);
      return;
    }
    if (e.key.length !== 1 || e.ctrlKey || e.altKey || e.metaKey) return;
    if (!fast) {
      text = '';
      const field = e.target.closest?.('input');
      before = { field, value: field?.value };
    }
    text += e.key;
    if (text.length > 1 && e.key === ' ') e.preventDefault(); // it would touch the button that has the focus
  }, true);
  addEventListener('keyup', (e) => {
    if (e.key === ' ' && e.timeStamp - last < FAST && text.length > 1) e.preventDefault();
  }, true);
}
