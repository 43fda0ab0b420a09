#include "tables/column_names.h"
#include "base/text.h"
#include "base/words.h"
#include <stdbool.h>
#include <stdio.h>
#include <string.h>

struct row {
    const char *name;
    const char *other; /* "|"-separated, folded */
};

/* Common practice in plants' sheets, no source: English, Spanish, German. */
static const struct row COLUMNS[] = {
    {"lot",
     "lot no|lot number|lot code|batch|batch no|batch number|batch code|charge|chargennummer|"
     "chargen nr|los|losnummer|lote|numero de lote|run"},
    {"product", "item|item no|item code|sku|article|artikel|artikelnummer|articulo|producto|"
                "product code|code"},
    {"name",
     "description|product name|item name|bezeichnung|artikelbezeichnung|descripcion|nombre"},
    {"family", "product family|group|category|warengruppe|familia|categoria"},
    {"shelf_life_days",
     "shelf life|shelf life days|days of shelf life|haltbarkeit|vida util|mhd tage"},
    {"unit_g", "weight|unit weight|net weight|gewicht|stuckgewicht|peso|peso neto"},
    {"gtin", "ean|upc|barcode|gtin13|gtin14"},
    {"line", "band|production line|packing line|linie|linea"},
    {"made_from",
     "mixed|mix start|made|start|start time|production start|beginn|mischbeginn|inicio"},
    {"made_to", "baked|bake end|made until|end|end time|production end|ende|backende|fin"},
    {"packed_from",
     "packing|pack start|packing start|packed from|verpackungsbeginn|inicio empaque"},
    {"packed_to", "packed|pack end|packing end|packed until|verpackungsende|fin empaque"},
    {"units",
     "loaves|packs|pieces|pcs|quantity|qty|units packed|output|count|stuck|stuckzahl|menge|"
     "unidades|cantidad|piezas"},
    {"code_date", "best by|best before|bb|bbd|expiry|expiry date|use by|mhd|"
                  "mindesthaltbarkeitsdatum|caducidad|fecha de caducidad|consumo preferente"},
    {"shift", "crew|schicht|turno"},
    {"plant", "site|bakery|werk|planta"},
    {"mix", "mix no|dough|dough no|teig|teig nr|mezcla|masa"},
    {"at", "when|sampled|measured|time|timestamp|date time|datetime|measured at|sampled "
           "at|zeit|zeitpunkt|uhrzeit|"
           "datum uhrzeit|hora|fecha y hora|date|day|datum|fecha"},
    {"flour_kg", "flour|flour weight|mehl|mehlmenge|harina"},
    {"material", "ingredient|raw material|rohstoff|zutat|ingrediente|materia prima"},
    {"material_lot", "material batch|ingredient lot|supplier lot|raw material lot|rohstoffcharge|"
                     "lieferantencharge|lote de materia prima|lote proveedor"},
    {"amount", "dose|dosage|quantity used|einsatzmenge|dosis"},
    {"unit", "uom|unit of measure|einheit|unidad"},
    {"active_pct", "active|active pct|wirkstoff|activo"},
    {"supplier", "vendor|lieferant|proveedor"},
    {"quantity", "parameter|measurement|test|messgrosse|parametro|ensayo"},
    {"value", "result|reading|measured value|messwert|ergebnis|wert|valor|resultado"},
    {"target", "set point|setpoint|aim|nominal|soll|sollwert|objetivo"},
    {"low", "min|minimum|lower limit|untergrenze|minimo"},
    {"high", "max|maximum|upper limit|obergrenze|maximo"},
    {"point", "sample point|position|messpunkt|punto"},
    {"note", "remark|remarks|comment|comments|bemerkung|nota|observaciones"},
    {"place", "location|area|station|ort|bereich|lugar|ubicacion"},
    {"route", "tour|delivery route|truck|ruta"},
    {"store", "customer|shop|ship to|filiale|kunde|tienda|cliente"},
    {"transit_c",
     "transit temp|transport temperature|transporttemperatur|temperatura de transporte"},
    {0}};
static const struct row QUANTITIES[] = {
    {"core_at_pack_c", "core|core temp|core temperature|core at pack|core temp at packing|"
                       "kerntemperatur|kerntemp|temperatura central"},
    {"core_end_bake_c",
     "core end of bake|core after bake|core at oven exit|kerntemperatur backende"},
    {"core_at_slicing_c", "core at slicing|core at slicer"},
    {"crumb_ph", "ph|crumb ph|ph crumb|ph wert|ph krume"},
    {"dough_ph", "dough ph|teig ph|ph masa"},
    {"crumb_aw", "aw|water activity|aw wert|actividad de agua"},
    {"crumb_moisture_pct", "moisture|crumb moisture|feuchte|krumenfeuchte|humedad"},
    {"dough_temp_c", "dough temp|dough temperature|teigtemperatur|temperatura de masa"},
    {"ferment_min", "fermentation time|fermentation|gare|fermentacion"},
    {"proof_min", "proof time|proofing time|proof|stuckgare"},
    {"bake_min", "bake time|baking time|backzeit|tiempo de horneado"},
    {"cool_min", "cooling time|cool time|kuhlzeit|tiempo de enfriamiento"},
    {"cooler_air_c", "cooler air|cooler temp|cooler temperature"},
    {"cooler_rh_pct", "cooler humidity|cooler rh"},
    {"inhibitor_pct_flour", "inhibitor|preservative|inhibitor pct|konservierung"},
    {"propionate_ppm", "propionate|propionat|propionato"},
    {"seal_fail_pct", "seal failures|leakers|seal fail"},
    {"pack_room_c", "pack room temp|packing room temperature"},
    {"pack_room_rh_pct", "pack room humidity|pack room rh"},
    {"mold_free_days", "mold free days|days mold free|shelf life test"},
    {0}};
static const char DAYS[] = "day|date|datum|tag|fecha|dia|production date|produktionsdatum|made on|"
                           "packed on";

/* Letters and digits, one blank between words. */
static void plain(const char *text, char *out, size_t size)
{
    char folded[160];
    size_t length = 0;
    for (const char *at = text_fold(text, folded, sizeof folded); *at && length + 2 < size; at++) {
        bool letter =
            (*at >= 'a' && *at <= 'z') || (*at >= '0' && *at <= '9') || (unsigned char)*at >= 0x80;
        if (letter)
            out[length++] = *at;
        else if (length && out[length - 1] != ' ')
            out[length++] = ' ';
    }
    while (length && out[length - 1] == ' ')
        length--;
    out[length] = '\0';
}

/* `words` stand in `text` as whole words. */
static bool holds(const char *text, const char *words, size_t length)
{
    for (const char *at = text; *at; at++)
        if ((at == text || at[-1] == ' ') && strncmp(at, words, length) == 0 &&
            (at[length] == ' ' || !at[length]))
            return true;
    return false;
}

/* How well one of the names in "a|b|c" fits. */
static int fits(const char *list, const char *text)
{
    int best = COLUMN_NAMES_NONE;
    while (*list) {
        size_t length = strcspn(list, "|");
        bool same = strlen(text) == length && strncmp(text, list, length) == 0;
        if (same)
            return COLUMN_NAMES_SURE;
        if (length > 3 && holds(text, list, length))
            best = COLUMN_NAMES_LIKELY;
        list += length + (list[length] == '|');
    }
    return best;
}

static int fit(const struct row *row, const char *text)
{
    char own[80];
    plain(row->name, own, sizeof own);
    return strcmp(own, text) == 0 ? COLUMN_NAMES_SURE : fits(row->other, text);
}

static int find_in(const struct row *rows, const struct record_table *table, const char *text,
                   const char **ret_name)
{
    int best = COLUMN_NAMES_NONE;
    for (; rows->name; rows++) {
        int found = table && record_kind_column(table, rows->name) < 0 ? 0 : fit(rows, text);
        if (found > best) {
            best = found;
            *ret_name = rows->name;
        }
    }
    return best;
}

int column_names_find(enum record_kind kind, const char *header, const char **ret_name)
{
    char text[160];
    const char *quantity = NULL;
    plain(header, text, sizeof text);
    int best = find_in(COLUMNS, record_kind_table(kind), text, ret_name);
    int measured = kind == RECORD_READINGS ? find_in(QUANTITIES, NULL, text, &quantity) : 0;
    if (measured > best)
        *ret_name = quantity;
    return measured > best ? measured : best;
}

int column_names_is_day(const char *header)
{
    char text[160];
    plain(header, text, sizeof text);
    return fits(DAYS, text) == COLUMN_NAMES_SURE;
}
