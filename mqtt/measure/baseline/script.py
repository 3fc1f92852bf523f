"""The script that an engineer writes for the job: SQLite and the usual MQTT client.

It takes tape lines with caliper frames on standard input, keeps each in a database (WAL,
synchronous FULL), prints it once it is kept, and publishes it at QoS 1. A row leaves the
outbox once the broker has acknowledged it: with ROWS 1 each in a commit of its own, else
up to ROWS in one, or what there is after a second. The client is left as it comes, with
its own ways of connecting again and of sending again.

    script.py BASE PORT FILE ROWS
"""

import json
import queue
import sqlite3
import sys
import threading
import time
from datetime import datetime, timezone

import paho.mqtt.client as mqtt

AHEAD = 1000  # messages handed to the client and not yet acknowledged


def compact(value):
    return json.dumps(value, separators=(",", ":"))


class Script:
    def __init__(self, base, port, file, rows):
        self.base, self.rows = base, rows
        self.todo = queue.SimpleQueue()  # lines, acknowledgements, connections
        self.pending = {}  # packet id: seq
        self.acknowledged = []
        self.since = None  # when the first of them came
        self.connected = False

        self.db = sqlite3.connect(file, isolation_level=None)
        self.db.execute("PRAGMA journal_mode=WAL")
        self.db.execute("PRAGMA synchronous=FULL")
        self.db.execute("CREATE TABLE IF NOT EXISTS record (seq INTEGER PRIMARY KEY, json TEXT NOT NULL)")
        self.db.execute("CREATE TABLE IF NOT EXISTS outbox (seq INTEGER PRIMARY KEY, payload TEXT NOT NULL)")
        self.last = self.db.execute("SELECT coalesce(max(seq), 0) FROM record").fetchone()[0]
        # Handed to the client up to this seq.
        self.handed = self.db.execute("SELECT coalesce(min(seq) - 1, ?) FROM outbox", (self.last,)).fetchone()[0]

        self.client = mqtt.Client(client_id="script-" + base.replace("/", "-"))
        self.client.on_connect = lambda *_: self.todo.put(("connected", True))
        self.client.on_disconnect = lambda *_: self.todo.put(("connected", False))
        self.client.on_publish = lambda _client, _data, mid: self.todo.put(("acknowledged", mid))
        self.client.connect_async("127.0.0.1", port)
        self.client.loop_start()

    def read(self):
        for line in sys.stdin:
            self.todo.put(("line", line))

    def keep(self, line):
        raw = json.loads(line)["text"].strip()
        seq = self.last + 1
        record = {
            "seq": seq,
            "at": datetime.now(timezone.utc).strftime("%Y-%m-%dT%H:%M:%S.%fZ"),
            "kind": "reading",
            "diameter_mm": round(float(raw) * 25.4, 5),
            "raw": raw,
        }
        event = {
            "specversion": "1.0",
            "id": f"script-{seq}",
            "source": "/" + self.base,
            "type": "benchtally.reading.v1",
            "time": record["at"],
            "datacontenttype": "application/json",
            "sequence": f"{seq:020}",
            "data": record,
        }
        text, payload = compact(record), compact(event)
        self.db.execute("BEGIN")
        self.db.execute("INSERT INTO record VALUES (?, ?)", (seq, text))
        self.db.execute("INSERT INTO outbox VALUES (?, ?)", (seq, payload))
        self.db.execute("COMMIT")
        self.last = seq
        sys.stdout.write(text + "\n")
        sys.stdout.flush()
        if self.connected and self.handed == seq - 1 and len(self.pending) < AHEAD:
            self.publish(seq, payload)

    def publish(self, seq, payload):
        sent = self.client.publish(self.base + "/event/reading", payload, qos=1)
        self.pending[sent.mid] = seq
        self.handed = seq

    def fill(self):
        if not self.connected or self.handed == self.last or len(self.pending) > AHEAD // 2:
            return
        behind = self.db.execute(
            "SELECT seq, payload FROM outbox WHERE seq > ? ORDER BY seq LIMIT ?",
            (self.handed, AHEAD - len(self.pending)),
        ).fetchall()
        for seq, payload in behind:
            self.publish(seq, payload)

    def forget(self):
        self.db.execute("BEGIN")
        self.db.executemany("DELETE FROM outbox WHERE seq = ?", [(seq,) for seq in self.acknowledged])
        self.db.execute("COMMIT")
        self.acknowledged.clear()

    def run(self):
        threading.Thread(target=self.read, daemon=True).start()
        while True:
            try:
                what, value = self.todo.get(timeout=1 if self.acknowledged else None)
            except queue.Empty:
                self.forget()
                continue
            if what == "line":
                self.keep(value)
            elif what == "connected":
                self.connected = value
            else:
                self.acknowledged.append(self.pending.pop(value))
                if len(self.acknowledged) == 1:
                    self.since = time.monotonic()
                if len(self.acknowledged) >= self.rows or time.monotonic() - self.since > 1:
                    self.forget()
            self.fill()


Script(sys.argv[1], int(sys.argv[2]), sys.argv[3], int(sys.argv[4])).run()
