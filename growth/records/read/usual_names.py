"""Other usual names of our columns, whatever their case and what stands between their words."""

from __future__ import annotations

_NAMES = {
    "customer": "customer id, client, client id, client number, client no, customer number, customer no, customer "
    "name, account, account id, subscriber, user id, email, e-mail, customer email, kunde, kundennummer, kundennr, "
    "kunden nr, kunden id, konto",
    "date": "paid on, paid at, charged on, charged at, payment date, invoice date, issued, issued on, issue date, "
    "transaction date, billed on, created, created at, datum, rechnungsdatum, "
    "buchungsdatum, zahlungsdatum, bezahlt am",
    "amount": "total, net amount, net, amount paid, amount in cents, line amount, value, betrag, netto, "
    "nettobetrag, summe",
    "month": "period, monat",
    "mrr": "monthly recurring revenue, recurring revenue",
    "start": "start date, started, started on, started at, from, begin, beginn",
    "end": "end date, ended, ended on, ended at, cancelled on, cancelled at, canceled on, canceled at, to, until, ende",
    "price": "fee, unit price, amount, preis",
    "plan": "plan name, product, tier, tarif, produkt",
    "billing": "interval, billing interval, billing cycle, cycle, frequency, abrechnung",
    "quantity": "seats, qty, units, anzahl",
    "discount": "discount percent, rabatt",
    "currency": "currency code, ccy, währung",
    "joined": "customer since, signed up, sign-up date, signup date",
    "status": "payment status, zahlungsstatus, zustand",
    "reason": "end reason, cancellation reason",
    "refunded": "amount refunded, refund, refund amount, erstattet, erstattung, rückerstattung",
    "kind": "line type, line kind, item type",
    "tax": "tax amount, vat, vat amount, mwst, ust",
    "months": "months paid",
    "period_start": "period from, service from, paid from",
    "period_end": "period to, service to, paid until",
}
ALSO = {ours: tuple(names.split(", ")) for ours, names in _NAMES.items()}
