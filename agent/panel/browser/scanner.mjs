// A scanner of barcodes that types like a keyboard. Its keys carry times of their
// own, 5 ms apart, so that a busy machine makes no slow hand of it.
const apart = 0.005; // s

export async function scan(page, label) {
  const session = await page.context().newCDPSession(page);
  let timestamp = Date.now() / 1000;
  const keys = [];
  for (const key of [...label, 'Enter']) {
    const text = key === 'Enter' ? '\r' : key;
    keys.push(session.send('Input.dispatchKeyEvent', { type: 'keyDown', key, text, timestamp: timestamp += apart }));
    keys.push(session.send('Input.dispatchKeyEvent', { type: 'keyUp', key, timestamp }));
  }
  await Promise.all(keys);
  await session.detach();
}
