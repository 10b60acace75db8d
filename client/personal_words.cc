#include "client/personal_words.h"

namespace plumblane::client {
namespace {

constexpr PersonalWords kPersonal[] = {
    {"email", "an e-mail address"},
    {"e mail", "an e-mail address"},
    {"phone", "a phone number"},
    {"telephone", "a phone number"},
    {"telefon", "a phone number"},
    {"mobile", "a phone number"},
    {"tel", "a phone number"},
    {"address", "the address"},
    {"address1", "the address"},
    {"address2", "the address"},
    {"adresse", "the address"},
    {"anschrift", "the address"},
    {"street", "the address"},
    {"strasse", "the address"},
    {"straße", "the address"},
    {"zip", "the address"},
    {"postcode", "the address"},
    {"postal code", "the address"},
    {"plz", "the address"},
    {"city", "the address"},
    {"town", "the address"},
    {"ort", "the address"},
    {"first name", "the name"},
    {"last name", "the name"},
    {"firstname", "the name"},
    {"lastname", "the name"},
    {"surname", "the name"},
    {"vorname", "the name"},
    {"nachname", "the name"},
    {"full name", "the name"},
    {"birthday", "a birthday"},
    {"date of birth", "a birthday"},
    {"geburtsdatum", "a birthday"},
    {"förnamn", "the name"},
    {"efternamn", "the name"},
    {"imię", "the name"},
    {"nazwisko", "the name"},
    {"apellido", "the name"},
    {"apellidos", "the name"},
    {"prénom", "the name"},
    {"adress", "the address"},
    {"gatuadress", "the address"},
    {"postnummer", "the address"},
    {"postort", "the address"},
    {"stad", "the address"},
    {"adres", "the address"},
    {"ulica", "the address"},
    {"kod pocztowy", "the address"},
    {"miasto", "the address"},
    {"dirección", "the address"},
    {"calle", "the address"},
    {"código postal", "the address"},
    {"ciudad", "the address"},
    {"provincia", "the address"},
    {"code postal", "the address"},
    {"ville", "the address"},
    {"rue", "the address"},
    {"teléfono", "a phone number"},
    {"téléphone", "a phone number"},
    {"mobil", "a phone number"},
    {"handy", "a phone number"},
    {"e post", "an e-mail address"},
    {"epost", "an e-mail address"},
    {"correo", "an e-mail address"},
    {"correo electrónico", "an e-mail address"},
    {"courriel", "an e-mail address"},
    {"mejl", "an e-mail address"},
    {"födelsedatum", "a birthday"},
    {"data urodzenia", "a birthday"},
    {"fecha de nacimiento", "a birthday"},
    {"date de naissance", "a birthday"},
};
constexpr std::string_view kPersons[] = {"customer",     "buyer",  "recipient",   "consignee",
                                         "contact",      "kunde",  "empfänger",   "kund",
                                         "mottagare",    "klient", "odbiorca",    "cliente",
                                         "destinatario", "client", "destinataire"};
// Things that have names, and facts of an order that tell nothing of the customer.
constexpr std::string_view kThings[] = {
    "item",       "product",  "supplier",  "vendor",      "shop",     "country", "carrier",
    "service",    "land",     "paid",      "date",        "currency", "artikel", "order",
    "produkt",    "producto", "produit",   "article",     "artículo", "vara",    "lieferant",
    "leverantör", "dostawca", "proveedor", "fournisseur", "butik",    "sklep",   "tienda",
    "kraj",       "país",     "pays",      "valuta",      "moneda"};
constexpr std::string_view kNames[] = {"name", "namn", "nombre", "nom"};

}  // namespace

std::span<const PersonalWords> PersonalColumns() { return kPersonal; }
std::span<const std::string_view> PersonWords() { return kPersons; }
std::span<const std::string_view> NameWords() { return kNames; }
std::span<const std::string_view> ThingWords() { return kThings; }

}  // namespace plumblane::client
