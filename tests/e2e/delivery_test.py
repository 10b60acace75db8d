"""Alerts on their way out of the real daemon: a webhook that checks signatures, a mail server, a hook;
hard stops on the way, and history, which is sent nowhere."""
import base64
import email
import email.policy
import hashlib
import hmac
import http.server
import json
import os
import socketserver
import ssl
import stat
import subprocess
import threading

from harness import Daemon, Folder, main, send_season, wait_for, SAMPLE

KEY = b"an invented key for checks only"


class Webhook:
    """Takes what is posted; answers by `answer(count of requests so far)`."""

    def __init__(self, answer=lambda count: 204, certificate=None):
        self.taken = []  # (status, headers, body)
        outer = self

        class Handler(http.server.BaseHTTPRequestHandler):
            def do_POST(self):
                body = self.rfile.read(int(self.headers["Content-Length"]))
                status = answer(len(outer.taken))
                outer.taken.append((status, dict(self.headers), body))
                self.send_response(status)
                self.end_headers()

            def log_message(self, *_):
                pass

        self.server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Handler)
        if certificate:
            context = ssl.SSLContext(ssl.PROTOCOL_TLS_SERVER)
            context.load_cert_chain(certificate)
            self.server.socket = context.wrap_socket(self.server.socket, server_side=True)
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        self.url = f"http{'s' if certificate else ''}://127.0.0.1:{self.server.server_address[1]}/alerts"

    def cursors(self):
        return [int(json.loads(body)["data"]["cursor"]) for status, _, body in self.taken
                if status == 204]

    def check_signatures(self):
        for _, headers, body in self.taken:
            text = f"{headers['webhook-id']}.{headers['webhook-timestamp']}.".encode() + body
            mac = base64.b64encode(hmac.new(KEY, text, hashlib.sha256).digest()).decode()
            assert headers["webhook-signature"] == "v1," + mac, headers
            document = json.loads(body)
            assert headers["Content-Type"] == "application/cloudevents+json", headers
            assert document["specversion"] == "1.0" and document["id"] == headers["webhook-id"]
            assert document["type"].startswith("plumblane.alert."), document
            assert document["data"]["alert"]["sentence"], document


class MailServer:
    """The least of SMTP; keeps what it is given as parsed mails."""

    def __init__(self):
        self.mails = []
        outer = self

        class Handler(socketserver.StreamRequestHandler):
            def handle(self):
                def say(line):
                    self.wfile.write(line.encode() + b"\r\n")
                say("220 here")
                recipients = []
                while line := self.rfile.readline().decode().strip():
                    word = line.split(":")[0].split()[0].upper()
                    if word == "RCPT":
                        recipients.append(line[line.index("<") + 1:line.index(">")])
                    if word == "DATA":
                        say("354 go on")
                        lines = []
                        while (data := self.rfile.readline()) != b".\r\n":
                            lines.append(data[1:] if data.startswith(b".") else data)
                        mail = email.message_from_bytes(b"".join(lines), policy=email.policy.default)
                        outer.mails.append((recipients, mail))
                    if word == "QUIT":
                        say("221 bye")
                        return
                    say("250 fine")

        self.server = socketserver.ThreadingTCPServer(("127.0.0.1", 0), Handler)
        self.server.daemon_threads = True
        threading.Thread(target=self.server.serve_forever, daemon=True).start()
        self.address = f"smtp://127.0.0.1:{self.server.server_address[1]}"


def write_settings(folder, text):
    secret = os.path.join(folder, "secret")
    with open(secret, "w") as file:
        os.chmod(secret, 0o600)
        file.write("whsec_" + base64.b64encode(KEY).decode() + "\n")
    path = os.path.join(folder, "settings.toml")
    with open(path, "w") as file:
        file.write(text.replace("SECRET", secret))
    return path


def deliveries(daemon):
    return {one["sink"]: one for one in daemon.ask("alerts", "deliveries").get("deliveries", [])}


def handled(daemon, sink):
    return int(deliveries(daemon)[sink].get("handledCursor", 0))


def left(daemon, sink):
    return int(deliveries(daemon)[sink].get("backlogCount", 0))


def last_cursor(daemon, sink):
    """Of all notices: what is handled and what is left add up to it."""
    one = deliveries(daemon)[sink]
    return int(one.get("handledCursor", 0)) + int(one.get("backlogCount", 0))


def settle(daemon, sink, quiet=4):
    """Waits until the watches have told nothing for so many seconds; the last cursor."""
    def is_quiet():
        before = last_cursor(daemon, sink)
        return before > 0 and not wait_for(lambda: last_cursor(daemon, sink) != before, seconds=quiet)
    assert wait_for(is_quiet), daemon.read_log()
    return last_cursor(daemon, sink)


# Watches that take long rest for ten seconds.
WHATEVER_THE_MACHINE = 12


def drain(daemon, sink, quiet=4):
    """Settles, and waits until nothing is left; the last cursor."""
    settle(daemon, sink, quiet)
    assert wait_for(lambda: left(daemon, sink) == 0), daemon.read_log()
    return handled(daemon, sink)


def a_webhook_gets_every_alert_signed_and_in_order_through_hard_stops():
    # Down in turns; between, the daemon is killed without warning.
    webhook = Webhook(lambda count: 503 if count % 3 == 1 else 204)
    with Folder() as folder:
        config = write_settings(folder, f"[deliver.webhook]\nurl = \"{webhook.url}\"\n"
                                        "secret_file = \"SECRET\"\n")
        daemon = Daemon(folder, "--config", config).start()
        send_season(daemon)
        for taken in (1, 3):
            assert wait_for(lambda: len(webhook.cursors()) >= taken), daemon.read_log()
            daemon.kill()
            daemon.start()
        last = drain(daemon, "webhook")
        assert last >= 4, last
        code, shown, _ = daemon.run("alerts", "deliveries")
        assert code == 0 and f"up to notice {last}, 0 left" in shown, shown
        cursors = webhook.cursors()
        without_repeats = [cursor for i, cursor in enumerate(cursors)
                           if i == 0 or cursors[i - 1] != cursor]
        assert without_repeats == list(range(1, last + 1)), cursors
        webhook.check_signatures()
        ids = {json.loads(body)["data"]["cursor"]: json.loads(body)["id"]
               for _, _, body in webhook.taken}
        assert len(set(ids.values())) == last, "a repeat has the id of the first"
        assert daemon.stop() == 0
        assert KEY.decode() not in daemon.read_log() and "whsec_" not in daemon.read_log()


def a_receiver_that_is_gone_is_left_alone_until_the_next_start():
    webhook = Webhook(lambda count: 410 if count == 0 else 204)
    with Folder() as folder:
        config = write_settings(folder, f"[deliver.webhook]\nurl = \"{webhook.url}\"\n"
                                        "secret_file = \"SECRET\"\n")
        daemon = Daemon(folder, "--config", config).start()
        send_season(daemon)
        last = settle(daemon, "webhook")
        assert deliveries(daemon)["webhook"]["state"] == "STATE_STOPPED"
        assert left(daemon, "webhook") == last
        assert len(webhook.taken) == 1
        assert "the receiver wants no more" in daemon.read_log()
        daemon.stop()
        daemon.start()
        last = drain(daemon, "webhook")
        assert webhook.cursors() == list(range(1, last + 1))
        daemon.stop()


def mails_and_a_hook_tell_the_same():
    mail = MailServer()
    with Folder() as folder:
        hook, told = os.path.join(folder, "hook"), os.path.join(folder, "told")
        with open(hook, "w") as file:
            file.write(f"#!/bin/sh\ncat >> {told}\necho >> {told}\n")
        os.chmod(hook, stat.S_IRWXU)
        config = write_settings(folder, f"""
            [deliver]
            source = "harbour"
            [deliver.hook]
            command = ["{hook}"]
            [deliver.mail]
            server = "{mail.address}"
            from = "plumblane@shop.example"
            to = ["one@shop.example", "two@shop.example"]
            """)
        daemon = Daemon(folder, "--config", config).start()
        send_season(daemon)
        last = drain(daemon, "hook", WHATEVER_THE_MACHINE)
        assert drain(daemon, "mail") == last
        with open(told) as file:
            documents = [json.loads(line) for line in file]
        assert [int(one["data"]["cursor"]) for one in documents] == list(range(1, last + 1))
        assert len(mail.mails) == last
        for document, (recipients, one) in zip(documents, mail.mails):
            assert recipients == ["one@shop.example", "two@shop.example"], recipients
            assert one["Message-ID"] == f"<harbour.{document['id']}@shop.example>"
            assert one["Subject"].startswith("[harbour] " + document["subject"]), one["Subject"]
            assert document["data"]["alert"]["sentence"] in one.get_content()
        daemon.stop()


def history_is_listed_and_sent_nowhere():
    webhook = Webhook()
    with Folder() as folder:
        config = write_settings(folder, f"[deliver.webhook]\nurl = \"{webhook.url}\"\n"
                                        "secret_file = \"SECRET\"\n")
        daemon = Daemon(folder, "--config", config).start()
        for name in ("harbour.ndjson", "meadow.csv", "carriers.ndjson", "mondays.csv"):
            daemon.run("send", "--history", os.path.join(SAMPLE, name), check=0)
        last = drain(daemon, "webhook", WHATEVER_THE_MACHINE)
        alerts = json.loads(daemon.run("alerts", "--all", "--json")[1])["alerts"]
        assert alerts and all(alert.get("quiet") for alert in alerts), alerts
        assert "sent nowhere" in daemon.run("alerts", "--all")[1]
        daemon.kill()
        daemon.start()
        assert drain(daemon, "webhook") == last
        assert not webhook.taken, webhook.taken
        daemon.stop()


def one_whose_certificate_nobody_vouches_for_is_told_nothing():
    with Folder() as folder:
        certificate = os.path.join(folder, "certificate")
        subprocess.run(["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2",
                        "-subj", "/CN=localhost", "-addext", "subjectAltName=IP:127.0.0.1",
                        "-keyout", certificate, "-out", certificate + ".public"],
                       check=True, capture_output=True)
        with open(certificate + ".public") as public, open(certificate, "a") as both:
            both.write(public.read())
        webhook = Webhook(certificate=certificate)
        config = write_settings(folder, f"[deliver.webhook]\nurl = \"{webhook.url}\"\n"
                                        "secret_file = \"SECRET\"\n")
        daemon = Daemon(folder, "--config", config).start()
        send_season(daemon)
        assert wait_for(lambda: deliveries(daemon)["webhook"].get("attempts")), daemon.read_log()
        attempt = deliveries(daemon)["webhook"]["attempts"][0]
        assert attempt["outcome"] == "OUTCOME_FAILED" and "certificate" in attempt["detail"], attempt
        assert not webhook.taken
        daemon.stop()


def wrong_settings_are_named_and_secrets_are_not_shown():
    with Folder() as folder:
        config = write_settings(folder, "[deliver.webhook]\nurl = \"https://shop.example/x\"\n"
                                        "secret_file = \"SECRET\"\n")
        os.chmod(os.path.join(folder, "secret"), 0o644)
        try:
            Daemon(folder, "--config", config).start()
            raise AssertionError("it started")
        except RuntimeError as error:
            assert "(78)" in str(error) and "deliver.webhook.secret_file" in str(error), error
            assert "0600" in str(error) and "whsec_" not in str(error), error


if __name__ == "__main__":
    main([a_webhook_gets_every_alert_signed_and_in_order_through_hard_stops,
          a_receiver_that_is_gone_is_left_alone_until_the_next_start,
          mails_and_a_hook_tell_the_same, history_is_listed_and_sent_nowhere,
          one_whose_certificate_nobody_vouches_for_is_told_nothing,
          wrong_settings_are_named_and_secrets_are_not_shown])
