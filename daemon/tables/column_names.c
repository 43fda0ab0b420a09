#include "tables/column_names.h"
#include "base/text.h"
#include "base/units.h"
#include <ctype.h>
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
     "lot no|lot number|lot code|lot id|lot #|lot|batch|batch no|batch number|batch code|batch id|"
     "code lot|lote|no lote|lote no|numero de lote|no de lote|codigo de lote|charge|"
     "chargennummer|chargen nr|partie|los|losnummer|run|run no|l n|"
     "charge no|chargencode|losnr|lotnummer|charge nummer"},
    {"product",
     "item|item no|item code|item number|sku|sku no|article|article no|product no|"
     "product id|prod|prod code|producto|codigo producto|codigo de producto|cod prod|"
     "articulo|clave|artikel|artikelnummer|product code|code|"
     "artikel nr|artikelnr|art nr|artikel no|produkt|produktnummer|produktcode|sorte|sachnummer"},
    {"name", "description|desc|item desc|item description|product description|product name|"
             "item name|descripcion|nombre|nombre del producto|bezeichnung|artikelbezeichnung|"
             "artikelname|produktname|produktbezeichnung"},
    {"family", "product family|product type|group|category|class|familia|tipo|categoria|grupo|"
               "warengruppe"},
    {"shelf_life_days", "shelf life|shelf life days|days of shelf life|days shelf life|sl days|"
                        "code life|vida util|vida util dias|vida de anaquel|dias de vida|"
                        "haltbarkeit|mhd tage|"
                        "haltbarkeit tage|haltbarkeitstage|restlaufzeit"},
    {"unit_g", "weight|unit weight|net weight|net wt|unit wt|wt|loaf weight|piece weight|peso|"
               "peso neto|peso unitario|peso pieza|gewicht|stuckgewicht"},
    {"gtin", "ean|upc|upc code|barcode|bar code|gtin13|gtin14|codigo de barras"},
    {"line", "band|production line|prod line|packing line|pack line|line no|line number|ln|"
             "linea|linea de produccion|linea no|linie|"
             "linien nr|liniennummer|linie nr|anlage|produktionslinie|verpackungslinie"},
    {"made_from",
     "mixed|mix start|mix time|made|start|start time|time start|production start|"
     "prod start|start mix|mfg start|from|inicio|hora inicio|hora de inicio|"
     "inicio produccion|inicio amasado|beginn|mischbeginn|mixing start|mixing begins|"
     "mixing began|mixing started|mix begin|mix begins|mix began|mixing begin|"
     "von|gemischt|gemischt ab|gemischt von|gemischt "
     "um|knetbeginn|teigbeginn|produktionsbeginn|produktion von|produktionsstart|herstellung "
     "von|hergestellt von|start zeit|startzeit|anfang"},
    {"made_to", "baked|bake end|baked at|out of oven|oven out|made until|end|end time|time end|"
                "stop|stop time|production end|prod end|mfg end|to|fin|hora fin|hora final|"
                "termino|fin produccion|fin horneado|salida horno|ende|backende|baking end|"
                "baking ends|baking ended|bake ends|baking finished|bake finish|"
                "bis|gebacken|gebacken bis|gebacken um|ofen aus|produktionsende|produktion "
                "bis|herstellung bis|hergestellt bis|endzeit"},
    {"packed_from",
     "packing|pack start|packing start|packed from|pkg start|pack from|start pack|"
     "first pack|bag start|inicio empaque|inicio empacado|inicio envasado|"
     "bagging start|bagging begins|bagging began|bagging started|bagging begin|bagging|"
     "packing begins|packing began|packing started|bag begin|"
     "verpackungsbeginn|verpackungsstart|pack begin|packing begin|start packing|pack beginn|"
     "packstart|inicio de empaque|inicio de envasado|"
     "verpackt von|verpackt ab|verpackung von|verpackung beginn|packbeginn|gepackt von|abgepackt "
     "von|abgepackt ab"},
    {"packed_to",
     "packed|pack end|packing end|packed until|packed to|pkg end|pack to|end pack|"
     "last pack|bag end|fin empaque|fin empacado|fin envasado|verpackungsende|pack stop|"
     "packing stop|pkg stop|stop pack|stop packing|bag stop|pack finish|"
     "bagging end|bagging ends|bagging ended|bagging stop|bagging stops|bagging finish|"
     "bagging finished|packing ends|packing ended|packing stops|packing finished|"
     "packing finish|pack ende|packende|fin de empaque|fin de envasado|"
     "verpackt|verpackt bis|verpackung bis|verpackung ende|gepackt|gepackt bis|abgepackt|abgepackt "
     "bis"},
    {"units", "loaves|packs|pieces|pcs|ea|each|bags|quantity|qty|qty packed|qty produced|"
              "units packed|packs made|loaves packed|good units|output|count|unidades|unid|"
              "cantidad|cant|piezas|pzas|pza|bolsas|panes|stuck|stuckzahl|menge|"
              "stk|anzahl|packungen|beutel|brote|gutmenge|produzierte menge"},
    {"code_date", "best by|best before|best if used by|bb|bbd|bb date|best by date|"
                  "best before date|exp|exp date|expiry|expiry date|expiration|"
                  "expiration date|sell by|use by|pull date|caducidad|fecha de caducidad|"
                  "fecha caducidad|cad|vence|vencimiento|fecha de vencimiento|f venc|"
                  "consumo preferente|consumir antes de|mhd|mindesthaltbarkeitsdatum|"
                  "mindestens haltbar bis|haltbar bis|mhd datum|verbrauchsdatum|verbrauchen bis"},
    {"shift", "crew|team|shift no|sh|turno|equipo|schicht|"
              "schicht nr|mannschaft"},
    {"plant", "site|bakery|facility|location code|planta|sede|fabrica|werk|"
              "standort|betrieb|backerei"},
    {"mix", "mix no|mix number|mix id|dough|dough no|dough batch|mezcla|mezcla no|no mezcla|masa|"
            "amasijo|teig|teig nr|"
            "teignummer|teigcharge|mischung|mischung nr"},
    {"at", "when|sampled|sample time|sample date|measured|test date|test time|date tested|time|"
           "timestamp|time stamp|date time|datetime|date and time|measured at|sampled at|"
           "ship date|shipped|hora|fecha y hora|fecha hora|fecha muestra|hora muestra|date|day|"
           "fecha|zeit|zeitpunkt|uhrzeit|datum uhrzeit|datum|"
           "gemessen|gemessen am|gemessen "
           "um|messzeit|probenahme|probezeit|zeitstempel|versanddatum|lieferdatum"},
    {"flour_kg", "flour|flour weight|flour wt|flour used|total flour|fl|fl wt|harina|"
                 "peso harina|harina total|mehl|mehlmenge"},
    {"material", "ingredient|ingr|raw material|rm|material name|material type|ingrediente|"
                 "materia prima|mp|insumo|rohstoff|zutat"},
    {"material_lot", "material batch|material lot no|ingredient lot|ingr lot|supplier lot|"
                     "vendor lot|raw material lot|rm lot|lot of material|lote de materia prima|"
                     "lote mp|lote proveedor|lote del proveedor|lote ingrediente|rohstoffcharge|"
                     "lieferantencharge|charge rohstoff|rohstoff charge|charge zutat|zutat charge|"
                     "zutatencharge|charge lieferant|ingredient batch|ingredient lot no|"
                     "ingredient lot number|batch of material|batch of ingredient|"
                     "lot of ingredient|lote insumo|lote de insumo|lote de ingrediente"},
    {"amount", "amt|dose|dosage|quantity used|qty used|weight used|used|dosis|cantidad usada|"
               "cant usada|consumo|einsatzmenge|menge"},
    {"unit", "uom|u m|um|unit of measure|units of measure|unidad|unidad de medida|einheit"},
    {"active_pct", "active|active pct|act|pct active|activo|activo pct|concentracion|wirkstoff"},
    {"supplier", "vendor|supp|supplier name|vendor name|proveedor|prov|lieferant|"
                 "lieferant name|lieferer"},
    {"kind", "preservative kind|kind of preservative"},
    {"applied", "applied to|where applied"},
    {"quantity", "parameter|param|measurement|test|test name|what|parametro|ensayo|prueba|"
                 "analisis|messgrosse|"
                 "merkmal|prufmerkmal|kenngrosse|prufung"},
    {"value", "result|reading|measured value|val|res|valor|resultado|lectura|res prueba|messwert|"
              "ergebnis|wert"},
    {"target", "set point|setpoint|aim|nominal|spec|objetivo|consigna|especificacion|soll|"
               "sollwert"},
    {"low", "min|minimum|lower limit|lower|lsl|lo|target min|spec min|minimo|min spec|"
            "limite inferior|untergrenze"},
    {"high", "max|maximum|upper limit|upper|usl|hi|target max|spec max|maximo|max spec|"
             "limite superior|obergrenze"},
    {"point", "sample point|sampling point|position|pos|punto|punto de muestreo|posicion|"
              "messpunkt"},
    {"note", "notes|remark|remarks|comment|comments|cmt|obs|nota|notas|observaciones|"
             "observacion|comentarios|bemerkung|"
             "bemerkungen|notiz|kommentar|anmerkung"},
    {"place", "location|area|station|loc|site swabbed|swab site|lugar|ubicacion|sitio|zona|ort|"
              "bereich"},
    {"route", "tour|route no|rte|rt|delivery route|truck|ruta|ruta no|camion|"
              "tour nr|tournummer|route nr|lkw|fahrt"},
    {"store", "store no|store number|customer|cust|cust no|customer no|shop|ship to|outlet|"
              "tienda|no tienda|cliente|sucursal|filiale|kunde|"
              "markt|marktnummer|filial nr|filialnummer|kunden nr|kundennummer|laden|empfanger"},
    {"transit_c", "transit temp|trans temp|truck temp|transport temp|transport temperature|"
                  "temp transporte|temperatura de transporte|temp camion|transporttemperatur"},
    {"retailer", "chain|banner|account|cadena|minorista|kette|handelskette"},
    {0}};
static const struct row QUANTITIES[] = {
    {"core_at_pack_c",
     "core|core t|core temp|core temperature|core at pack|core at packing|core pack|pack core|"
     "core temp at packing|core temp at pack|core temp pack|core temperature at packing|"
     "internal temp|internal temperature|int temp|center temp|temp core|pack temp|"
     "temp at pack|temp pack|bagging temp|temperatura central|temp central|temp centro|"
     "temperatura del centro|temperatura interna|temp interna|temp nucleo|temp empaque|"
     "temperatura de empaque|kerntemperatur|kerntemp"},
    {"core_end_bake_c",
     "core end of bake|core end bake|core temp end of bake|core temp end bake|final core|"
     "core temp after bake|core after bake|core at oven exit|core out of oven|core ex oven|"
     "oven exit core|bake core|core bake|temp salida horno|temperatura salida horno|"
     "temp final horneado|kerntemperatur backende"},
    {"core_at_slicing_c",
     "core at slicing|core at slicer|core slicer|core slice|slicer core|slicing temp|"
     "temp rebanado|temperatura de rebanado"},
    {"crumb_ph", "ph|crumb ph|ph crumb|bread ph|ph bread|final ph|ph units|ph value|ph miga|"
                 "ph de miga|ph pan|ph wert|ph krume"},
    {"dough_ph", "dough ph|ph dough|ph masa|ph de masa|teig ph"},
    {"crumb_aw", "aw|a w|crumb aw|bread aw|water activity|water act|actividad de agua|"
                 "act agua|aw wert"},
    {"crumb_moisture_pct", "moisture|moist|crumb moisture|bread moisture|h2o|humedad|"
                           "humedad miga|hum miga|feuchte|krumenfeuchte"},
    {"dough_temp_c", "dough temp|dough t|dough temperature|final dough temp|fdt|mix temp|"
                     "temp dough|temp masa|temperatura de masa|temperatura masa|teigtemperatur"},
    {"ferment_min", "fermentation time|fermentation|ferment|ferm|ferm time|sponge time|floor "
                    "time|fermentacion|tiempo de fermentacion|tiempo ferm|gare"},
    {"proof_min", "proof time|proofing time|proof|prf|proofer time|tiempo de leudado|leudado|"
                  "tiempo de reposo|stuckgare"},
    {"bake_min", "bake time|baking time|bake|oven time|tiempo de horneado|horneado|tiempo horno|"
                 "backzeit"},
    {"cool_min", "cooling time|cool time|cool|cooling|cooler time|tiempo de enfriamiento|"
                 "enfriamiento|kuhlzeit"},
    {"cooler_air_c", "cooler air|cooler temp|cooler temperature|cooler air temp|"
                     "temp enfriador|temperatura enfriador"},
    {"cooler_rh_pct", "cooler humidity|cooler rh|hr enfriador|humedad enfriador"},
    {"inhibitor_kg", "inhibitor weight|inhibitor wt|preservative weight|cal pro weight|"
                     "peso conservador"},
    {"inhibitor_pct_flour",
     "inhibitor|preservative|pres|inhibitor pct|inhibitor dose|preservative dose|cal pro|calpro|"
     "cal prop|calcium propionate|conservador|conservante|propionato de calcio|konservierung"},
    {"propionate_ppm", "propionate|prop ppm|propionato|propionat"},
    {"water_pct_flour", "absorption|water absorption|water|abs|absorcion|agua"},
    {"softener_pct_flour", "softener|enzyme|softener dose|suavizante|enzima"},
    {"falling_number_s", "falling number|fn|falling no|indice de caida|fallzahl"},
    {"seal_fail_pct", "seal failures|leakers|leaks|seal fail|bad seals|fallas de sello|"
                      "fugas"},
    {"line_stop_min", "line stop|line stops|downtime|down time|stop min|paros|paro de linea"},
    {"pack_room_c", "pack room temp|packing room temp|packing room temperature|room temp|"
                    "temp sala empaque|temperatura sala de empaque"},
    {"pack_room_rh_pct", "pack room humidity|pack room rh|room rh|humedad sala de empaque"},
    {"mold_free_days", "mold free days|mould free days|days mold free|days to mold|mfsl|"
                       "shelf life test|dias sin moho|dias libre de moho"},
    {0}};
static const char DAYS[] =
    "day|date|dt|prod date|production date|mfg date|manufacture date|date made|bake date|pack date|"
    "bake day|baking day|baking date|production day|prod day|pack day|packing day|packing date|"
    "made on|packed on|fecha|dia|fecha de produccion|fecha produccion|fecha prod|fecha elaboracion|"
    "fecha de elaboracion|datum|tag|produktionsdatum|produktionstag|herstelldatum|"
    "herstellungsdatum|backdatum|backtag|packdatum|packtag|verpackungsdatum";

/* "CoreTemp": two words; "pH" is one. */
static void part_words(const char *text, char *out, size_t size)
{
    size_t length = 0;
    for (const char *at = text; *at && length + 2 < size; at++) {
        if (at > text + 1 && isalpha((unsigned char)at[-2]) && islower((unsigned char)at[-1]) &&
            isupper((unsigned char)*at))
            out[length++] = ' ';
        out[length++] = *at;
    }
    out[length] = '\0';
}

/* Letters and digits, one blank between words. */
static void plain(const char *text, char *out, size_t size)
{
    char parted[200], folded[160];
    size_t length = 0;
    part_words(text, parted, sizeof parted);
    for (const char *at = text_fold(parted, folded, sizeof folded); *at && length + 2 < size;
         at++) {
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

/* How well a heading fits, and by how many letters of it. */
struct fit {
    int sure;
    size_t length;
};

static bool is_better(struct fit a, struct fit b)
{
    return a.sure > b.sure || (a.sure == b.sure && a.length > b.length);
}

/* The best of the names in "a|b|c". */
static struct fit fits(const char *list, const char *text)
{
    struct fit best = {COLUMN_NAMES_NONE, 0};
    while (*list) {
        size_t length = strcspn(list, "|");
        bool same = strlen(text) == length && strncmp(text, list, length) == 0;
        bool in = length > 3 && holds(text, list, length);
        struct fit one = {same ? COLUMN_NAMES_SURE
                          : in ? COLUMN_NAMES_LIKELY
                               : COLUMN_NAMES_NONE,
                          length};
        if (one.sure && is_better(one, best))
            best = one;
        list += length + (list[length] == '|');
    }
    return best;
}

/* "Batch weight" and "batch of flour material" are no lot and "Bake temp" no time: what is measured
 * must be the column's. */
static bool is_of_another_kind(const char *name, const char *text)
{
    static const struct {
        const char *words, *unit;
    } MEASURES[] = {{"temp|temperature|temperatura", "degC"}, {"weight|wt|peso|gewicht", "kg"}};
    static const char *const MATERIALS[] = {"material", "ingredient",  "rohstoff", "zutat",
                                            "insumo",   "ingrediente", "materia",  "supplier",
                                            "vendor",   "proveedor",   "lieferant"};
    for (size_t i = 0; i < sizeof MATERIALS / sizeof *MATERIALS && strcmp(name, "lot") == 0; i++)
        if (holds(text, MATERIALS[i], strlen(MATERIALS[i])))
            return true;
    const char *suffix, *own = units_promised(name, &suffix);
    for (size_t i = 0; i < sizeof MEASURES / sizeof *MEASURES; i++) {
        double ignored;
        bool said = false;
        for (const char *at = MEASURES[i].words; *at; at += strspn(at, "|")) {
            size_t length = strcspn(at, "|");
            said = said || holds(text, at, length);
            at += length;
        }
        if (said && !(own && units_convert(1, own, MEASURES[i].unit, &ignored, NULL) == 0))
            return true;
    }
    return false;
}

static struct fit fit(const struct row *row, const char *text)
{
    static const struct fit NONE = {COLUMN_NAMES_NONE, 0};
    char own[80];
    plain(row->name, own, sizeof own);
    if (strcmp(own, text) == 0)
        return (struct fit){COLUMN_NAMES_SURE, strlen(own)};
    struct fit found = fits(row->other, text);
    return found.sure == COLUMN_NAMES_LIKELY && is_of_another_kind(row->name, text) ? NONE : found;
}

static struct fit find_in(const struct row *rows, const struct record_table *table,
                          const char *text, const char **ret_name)
{
    struct fit best = {COLUMN_NAMES_NONE, 0};
    for (; rows->name; rows++) {
        if (table && record_kind_column(table, rows->name) < 0)
            continue;
        struct fit found = fit(rows, text);
        if (found.sure && is_better(found, best)) {
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
    struct fit best = find_in(COLUMNS, record_kind_table(kind), text, ret_name);
    if (kind != RECORD_READINGS)
        return best.sure;
    struct fit measured = find_in(QUANTITIES, NULL, text, &quantity);
    if (!measured.sure || !is_better(measured, best))
        return best.sure;
    *ret_name = quantity;
    return measured.sure;
}

const char *column_names_quantity(const char *name, const char *unit)
{
    size_t length = strlen(name);
    for (const struct row *row = QUANTITIES; row->name; row++) {
        double ignored;
        const char *suffix, *own = units_promised(row->name, &suffix);
        if (own && suffix == row->name + length && strncmp(row->name, name, length) == 0 &&
            units_convert(1, unit, own, &ignored, NULL) == 0)
            return row->name;
    }
    return NULL;
}

int column_names_is_day(const char *header)
{
    char text[160];
    plain(header, text, sizeof text);
    return fits(DAYS, text).sure == COLUMN_NAMES_SURE;
}
