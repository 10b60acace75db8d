"""What `map` proposes for exports of many habits: small invented tables, each with the map that it is
to be read by and with what must be left open, "?"."""
import json
import os
import subprocess
import tomllib

from harness import BIN, Folder, main

CLIENT = os.path.join(BIN, "plumblane")


def time(column, form):
    return {"column": column, "form": form}


def country(column, **more):
    return {"column": column, "form": "country", **more}


def event(kind, column, form, **more):
    return {"type": kind, "time": time(column, form), **more}


UTF8 = {"delimiter": "comma", "encoding": "utf-8"}
LATIN1 = {"delimiter": "semicolon", "encoding": "latin-1"}

# name, bytes, [file], [order], [[event]] and, of each, [words] and what is left out as personal.
HABITS = [
    ("commas, ISO dates, names that leave nothing open", (
        "Order No,Supplier,Ship to country,Promised,Paid to supplier,First scan,Delivered,"
        "Supplier price,Currency\n"
        "1001,lotus-works,Germany,2026-03-20,2026-03-05,2026-03-07,2026-03-19,12.50,EUR\n"
        "1002,amber,Ireland,2026-03-25,2026-03-06,2026-03-09,,1.5,EUR\n").encode(),
     {**UTF8, "decimal": "."},
     {"order_id": "Order No", "supplier": "Supplier", "destination": country("Ship to country"),
      "promise": time("Promised", "Y-M-D"), "cost": "Supplier price", "currency": "Currency"},
     [event("paid", "Paid to supplier", "Y-M-D"), event("shipped", "First scan", "Y-M-D"),
      event("delivered", "Delivered", "Y-M-D")], {}, []),
    ("German: semicolons, Latin-1, CRLF, D.M.Y, decimal comma, a customer", (
        "Bestellnummer;Lieferant;Lieferland;Liefertermin;Bezahlt;Versendet;Zugestellt;"
        "Einkaufspreis;Währung;Vorname;Kunde\r\n"
        "1;lotus-works;Österreich;25.03.2026;13.03.2026;14.03.2026;24.03.2026;1.234,50;EUR;Zoë;M\r\n"
        "2;amber;Deutschland;26.03.2026;16.03.2026;;;3,2;EUR;Bo;K\r\n").encode("latin-1"),
     {**LATIN1, "decimal": ","},
     {"order_id": "Bestellnummer", "supplier": "Lieferant", "destination": country("Lieferland"),
      "promise": time("Liefertermin", "D-M-Y"), "cost": "Einkaufspreis", "currency": "Währung"},
     [event("?", "Bezahlt", "D-M-Y"), event("?", "Versendet", "D-M-Y"),
      event("delivered", "Zugestellt", "D-M-Y")], {}, ["Vorname", "Kunde"]),
    ("American: tabs, UTF-16 with its mark, M/D/Y with AM and PM", (
        "Order Number\tVendor\tCountry Code\tOrder Date\tShip Date\tActual Delivery\tOrder Total\r\n"
        "77\tlotus-works\tIE\t3/5/2026 2:02 PM\t3/14/2026 9:00 AM\t3/30/2026 11:15 AM\t$1,204.50\r\n"
        "78\tlotus-works\tNZ\t3/6/2026 12:02 AM\t\t\t$18.00\r\n").encode("utf-16"),
     {"delimiter": "tab", "encoding": "utf-16le", "decimal": ".", "time_zone": "?"},
     {"order_id": "Order Number", "supplier": "Vendor", "destination": country("Country Code"),
      "sale": "Order Total", "currency": {"value": "?"}},
     [event("?", "Order Date", "?"), event("?", "Ship Date", "M-D-Y"),
      event("delivered", "Actual Delivery", "M-D-Y")], {}, []),
    ("bars, UTF-8 with its mark, 5-Jun-12", (
        "\ufeffPO Number|Agent|Destination|PO Date|Collected|Delivered|Shipping Method\n"
        "P-1|lotus-works|Sweden|5-Jun-12|7-Jun-12|19-Jun-12|Air Mail\n"
        "P-2|amber|Sweden|12-Jun-12|14-Jun-12||Sea\n").encode(),
     {"delimiter": "bar", "encoding": "utf-8"},
     {"order_id": "PO Number", "supplier": "Agent", "destination": country("Destination"),
      "service": {"column": "Shipping Method", "words": "shipping-method"}},
     [event("paid", "PO Date", "D-M-Y"), event("shipped", "Collected", "D-M-Y"),
      event("delivered", "Delivered", "D-M-Y")],
     {"shipping-method": {"Air Mail": "air-mail", "Sea": "sea"}}, []),
    ("seconds since 1970, names_with_underscores", (
        "order_id,created_at,shipped_at,delivered_at,country,email\n"
        "a1,1772700000,1772786400,1773750000,DE,someone@example.com\n"
        "a2,1772700500,1772790000,,SE,other@example.com\n").encode(),
     UTF8,
     {"order_id": "order_id", "destination": country("country"), "supplier": {"value": "?"}},
     [event("?", "created_at", "seconds"), event("?", "shipped_at", "seconds"),
      event("delivered", "delivered_at", "seconds")], {}, ["email"]),
    ("milliseconds since 1970, line ends of CR alone, camelCase", (
        "orderId;supplierName;shippedAt;deliveredAt;trackingNumber\r"
        "9;amber;1772786400123;1773750000123;AG9\r10;amber;1772796400123;;AG10\r").encode(),
     {"delimiter": "semicolon", "encoding": "utf-8", "line_end": "cr"},
     {"order_id": "orderId", "supplier": "supplierName", "tracking": "trackingNumber"},
     [event("?", "shippedAt", "milliseconds"), event("delivered", "deliveredAt", "milliseconds")],
     {}, []),
    ("Swedish: semicolons, ISO dates, decimal comma", (
        "Ordernummer;Leverantör;Leveransland;Utlovad;Betald till leverantör;Skickad;Levererad;"
        "Inköpspris;Valuta;Namn;Postort\r\n"
        "1;lotus-works;Tyskland;2026-03-20;2026-03-05;2026-03-07;2026-03-19;112,50;SEK;Bo;Lund\r\n"
        "2;amber;Sverige;2026-03-22;2026-03-06;;;80,00;SEK;Ann;Ystad\r\n").encode(),
     {"delimiter": "semicolon", "encoding": "utf-8", "decimal": ","},
     {"order_id": "Ordernummer", "supplier": "Leverantör", "destination": country("Leveransland"),
      "promise": time("Utlovad", "Y-M-D"), "cost": "Inköpspris", "currency": "Valuta"},
     [event("paid", "Betald till leverantör", "Y-M-D"), event("?", "Skickad", "Y-M-D"),
      event("delivered", "Levererad", "Y-M-D")], {}, ["Namn", "Postort"]),
    ("Polish: names of months, a country by its Polish name", (
        "Numer zamówienia;Dostawca;Kraj;Zapłacono dostawcy;Wysłano;Dostarczono;Koszt;Waluta;"
        "Imię i nazwisko;Kod pocztowy\n"
        "Z1;lotus-works;Niemcy;5 marca 2026;7 marca 2026;19 kwietnia 2026;50,00;PLN;A B;00-950\n"
        "Z2;amber;Szwecja;6 marca 2026;8 marca 2026;;49,90;PLN;C D;30-001\n").encode(),
     {"delimiter": "semicolon", "encoding": "utf-8", "decimal": ","},
     {"order_id": "Numer zamówienia", "supplier": "Dostawca", "destination": country("Kraj"),
      "cost": "Koszt", "currency": "Waluta"},
     [event("paid", "Zapłacono dostawcy", "D-M-Y"), event("?", "Wysłano", "D-M-Y"),
      event("delivered", "Dostarczono", "D-M-Y")], {}, ["Imię i nazwisko", "Kod pocztowy"]),
    ("Spanish: Latin-1, D/M/Y, a date that is due and one that may be either", (
        "Pedido;Proveedor;País;Fecha de pago;Entrega prevista;Fecha de entrega;Coste;Moneda;"
        "Dirección\n"
        "7;lotus-works;Irlanda;13/03/2026;28/03/2026;27/03/2026;9,99;EUR;Calle Mayor 1\n"
        "8;amber;Suecia;14/03/2026;29/03/2026;;10,00;EUR;Calle Mayor 2\n").encode("latin-1"),
     {**LATIN1, "decimal": ","},
     {"order_id": "Pedido", "supplier": "Proveedor", "destination": country("País"),
      "promise": time("Entrega prevista", "D-M-Y"), "cost": "Coste", "currency": "Moneda"},
     [event("?", "Fecha de pago", "D-M-Y"), event("?", "Fecha de entrega", "D-M-Y")], {},
     ["Dirección"]),
    ("French: a refund and why", (
        "Commande;Fournisseur;Pays;Livré;Remboursé;Remboursement;Motif;Devise;Téléphone\n"
        "F1;amber;Irlande;19/03/2026;30/03/2026;12,50;damaged;EUR;1\n"
        "F2;amber;Suède;20/03/2026;;;;EUR;2\n").encode(),
     {"delimiter": "semicolon", "encoding": "utf-8", "decimal": ","},
     {"order_id": "Commande", "supplier": "Fournisseur", "destination": country("Pays"),
      "currency": "Devise"},
     [event("delivered", "Livré", "D-M-Y"),
      event("refunded", "Remboursé", "D-M-Y", refund="Remboursement", by={"value": "?"},
            reason="Motif")], {}, ["Téléphone"]),
    ("item lines: several rows of one order", (
        "Order,Line,SKU,Qty,Paid to supplier,Delivered,Vendor\n"
        "1,1,kite,2,2026-03-05,2026-03-20,amber\n1,2,swallow,1,2026-03-05,2026-03-20,amber\n"
        "2,1,kite,1,2026-03-06,,amber\n").encode(),
     {**UTF8, "repeated_order": "?"},
     {"order_id": "Order", "supplier": "Vendor", "item": "SKU", "units": "Qty",
      "destination": {"value": "?"}},
     [event("paid", "Paid to supplier", "Y-M-D"), event("delivered", "Delivered", "Y-M-D")],
     {}, []),
    ("a status and one date", (
        "Order;Status;Last update;Country\n"
        "1;Delivered;2026-03-20;Germany\n2;In transit;2026-03-19;Sweden\n"
        "3;Cancelled;2026-03-18;Atlantis\n4;Pending;2026-03-18;Sweden\n").encode(),
     {"delimiter": "semicolon", "encoding": "utf-8"},
     {"order_id": "Order", "destination": country("Country", words="country")},
     [{"type": {"column": "Status", "words": "status"}, "time": time("Last update", "Y-M-D")}],
     {"status": {"Delivered": "delivered", "In transit": "?", "Cancelled": "cancelled", "Pending": ""},
      "country": {"Atlantis": "?"}}, []),
    ("titles above the names, dates without separators, UTF-16 big end first without a mark", (
        "Export of orders\n\nOrder,Shipped,Delivered\n"
        "1,20260305,20260320\n2,20260313,20260331\n").encode("utf-16-be"),
     {"delimiter": "comma", "encoding": "utf-16be", "skip_lines": 2},
     {"order_id": "Order"},
     [event("?", "Shipped", "Y-M-D"), event("delivered", "Delivered", "Y-M-D")], {}, []),
    ("dates of which none tells day from month, amounts of which none tells the sign", (
        "Order,Paid to supplier,Delivered,Cost\n1,03/04/2026,05/06/2026,\"1,200\"\n"
        "2,04/05/2026,06/07/2026,\"1,300\"\n").encode(),
     {**UTF8, "decimal": "?"},
     {"order_id": "Order", "supplier": {"value": "?"}, "destination": {"value": "?"}, "cost": "Cost",
      "currency": {"value": "?"}},
     [event("paid", "Paid to supplier", "?"), event("delivered", "Delivered", "?")], {}, []),
    ("no names of columns", b"1001,2026-03-05,x\n1002,2026-03-06,y\n",
     {**UTF8, "header": False}, {"order_id": "?"}, [{"type": "?", "time": time("?", "?")}], {}, []),
    ("year of two digits first, quotes, blanks around cells, words for nothing", (
        '"Order Ref"," First scan ","Delivered"\n"1", 26-03-05 , 26-03-19\n"2",26-04-19 , n/a\n'
        '"3","26-04-20","26-05-02"\n').encode(), UTF8, {"order_id": "Order Ref"},
     [event("shipped", "First scan", "Y-M-D"), event("delivered", "Delivered", "Y-M-D")], {}, []),
    ("offsets from UTC need no zone; a claim and its answer", (
        "order_no,claimed,claim_amount,claim_reason,claim_answered,currency\n"
        "1,2026-03-05T10:00:00+01:00,4.50,broken,2026-03-07T08:00:00Z,EUR\n"
        "2,2026-03-09T10:00:00+01:00,7.25,whatever,,EUR\n").encode(),
     {**UTF8, "decimal": "."}, {"order_id": "order_no", "currency": "currency"},
     [event("disputed", "claimed", "Y-M-D", claim="claim_amount",
            reason={"column": "claim_reason", "words": "claim-reason"}),
      event("answered", "claim_answered", "Y-M-D")],
     {"claim-reason": {"broken": "damaged", "whatever": "?"}}, []),
]


def proposed(folder, name, content):
    path = os.path.join(folder, name)
    with open(path, "wb") as file:
        file.write(content)
    done = subprocess.run([CLIENT, "map", "--json", path], capture_output=True, text=True, timeout=60)
    assert done.returncode == 0, (name, done.stderr)
    return json.loads(done.stdout), done.stderr


def open_of(value):
    """How many "?" there are."""
    if isinstance(value, dict):
        return sum(open_of(one) for one in value.values())
    if isinstance(value, list):
        return sum(open_of(one) for one in value)
    return value == "?"


def every_habit_is_read_as_it_is_meant():
    wrong = []
    assert len(HABITS) >= 12
    with Folder() as folder:
        for name, content, form, order, events, words, personal in HABITS:
            answer, _ = proposed(folder, "orders.csv", content)
            read = tomllib.loads(answer["map"])
            expected = {"source": "orders", "file": form, "order": order, "event": events}
            if words:
                expected["words"] = words
            for key in sorted(expected.keys() | read.keys()):
                if read.get(key) != expected.get(key):
                    wrong.append(f"{name}: {key}\n  expected {expected.get(key)}\n"
                                 f"  found    {read.get(key)}")
            left_out = [one.split('"')[1] for one in answer["personalColumns"]]
            if left_out != personal:
                wrong.append(f"{name}: personal are {left_out}, expected {personal}")
            if answer["questionCount"] != open_of(read):
                wrong.append(f"{name}: says {answer['questionCount']} questions, has {open_of(read)}")
    assert not wrong, "\n".join(wrong)


if __name__ == "__main__":
    main([every_habit_is_read_as_it_is_meant])
