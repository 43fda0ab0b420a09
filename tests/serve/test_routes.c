/* The handlers of all routes, asked themselves on a small plant: a story of what people do, each
 * answer whole (told.h), and of a disk that fails no question has an answer. */
#include "../failing.h"
#include "../told.h"
#include "fixture.h"
#include "serve/news.h"
#include "serve/rematching.h"
#include "serve/reranking.h"
#include "store/outbox.h"
#include "store/work.h"

#define FIRST "01990000-0000-7000-8000-000000000001"
#define SECOND "01990000-0000-7000-8000-000000000002"
#define THIRD "01990000-0000-7000-8000-000000000003"
#define LOAD "01990000-0000-7000-8000-00000000000a"
#define HOT "L1%206318%20A0400"

/* ---- the story ---- */

struct step {
    const char *name; /* of the file of its answer; NULL: its status alone */
    int status;
    const char *what, *body;
};

#define COMPLAINT(id, lot, more)                                                                   \
    "{'id':'" id "','received_at':'2026-11-20T09:14:00-05:00','channel':'phone','symptom':"        \
    "'mold','lot_text':'" lot "'" more "}"
#define LOT(code, line, day)                                                                       \
    code ",W24," line "," day "T00:00:00-05:00," day "T03:00:00-05:00," day "T04:00:00-05:00," day \
         "T07:00:00-05:00,5000,2026-11-24\n"

static const struct step RECORDS[] = {
    {"records_products", 200, "POST records/products?source=p.csv",
     "product,name,family,shelf_life_days,unit_g\nW24,Mill Wheat,pan-bread,10,680\n"},
    {NULL, 200, "POST records/lots?source=l.csv",
     "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n" LOT(
         "L1 6318 A0400", "1", "2026-11-14") LOT("L2 6318 A0400", "2", "2026-11-14")
         LOT("L1 6317 A0400", "1", "2026-11-13")},
    {NULL, 200, "POST records/mixes?source=x",
     "mix,lot,at,flour_kg\nM1,L1 6318 A0400,2026-11-13T23:00:00-05:00,500\n"},
    {NULL, 200, "POST records/uses?source=x",
     "lot,material,material_lot,amount,unit,supplier\nL1 6318 A0400,film,F-0911,12,kg,Tern Film\n"
     "L1 6317 A0400,film,F-0911,12,kg,Tern Film\n"},
    {NULL, 200, "POST records/plantlog?source=x",
     "at,place,quantity,value,line\n2026-11-14T02:00:00-05:00,slicer,swab_cfu,80,1\n"},
    {NULL, 200, "POST records/dispatch?source=x",
     "lot,route,at,units,store\nL1 6318 A0400,R4,2026-11-14T09:00:00-05:00,600,0417\n"},
    {"records_dry", 200, "POST records/readings?source=x&dry_run=1",
     "lot,quantity,value,at\nL1 6318 A0400,core_at_pack_c,47,2026-11-14T04:10:00-05:00\n"},
    {"records_read", 200, "POST records/readings?source=x",
     "lot,quantity,value,at\nL1 6318 A0400,core_at_pack_c,47,2026-11-14T04:10:00-05:00\n"},
    {"records_bad", 200, "POST records/readings?source=x&load=" LOAD "&part=0&last=1",
     "lot,quantity,value\nNOPE,crumb_ph,5\n"},
    {NULL, 404, "POST records/nonsense?source=x", "a\n"},
    {NULL, 404, "GET loads/" LOAD "/refused", NULL},
};

static const struct step COMPLAINTS[] = {
    {"preview", 200, "POST complaints/preview", COMPLAINT(FIRST, "L1 6318 A0400", "")},
    {"log", 201, "POST complaints",
     COMPLAINT(FIRST, "L1 6318 A0400",
               ",'note':'smells sour','contact':{'name':'Ann Bee','phone':'555-0101'}")},
    {"log_again", 200, "POST complaints",
     COMPLAINT(FIRST, "L1 6318 A0400",
               ",'note':'smells sour','contact':{'name':'Ann Bee','phone':'555-0101'}")},
    {"log_harm", 201, "POST complaints", COMPLAINT(SECOND, "L2 6318 A0400", ",'harm':['illness']")},
    {"log_third", 201, "POST complaints", COMPLAINT(THIRD, "L1 6318 A0400", ",'store':'0417'")},
    {"log_refused", 400, "POST complaints", "{'symptom':'wet','harm':['illness']}"},
    {"list", 200, "GET complaints?lot=" HOT, NULL},
    {"list_phone", 200, "GET complaints?phone=555-0101", NULL},
    {"list_word", 200, "GET complaints?word=sour", NULL},
    {NULL, 400, "GET complaints?limit=x", NULL},
    {NULL, 400, "GET complaints?limit=0", NULL},
    {NULL, 400, "GET complaints?limit=100000", NULL},
    {"join", 200, "POST complaints/" THIRD "/join", "{'same_as':'" FIRST "'}"},
    {"complaint", 200, "GET complaints/" FIRST, NULL},
    {"separate", 200, "POST complaints/" THIRD "/separate", "{}"},
    {"correct", 200, "POST complaints/" FIRST "/correct",
     "{'fields':{'packs':2},'reason':'misheard'}"},
    {"correct_bad", 400, "POST complaints/" FIRST "/correct",
     "{'fields':{'packs':0},'reason':'x'}"},
    {"withdraw", 200, "POST complaints/" THIRD "/withdraw", "{'reason':'twice','by':'Mira'}"},
    {"withdrawn", 409, "POST complaints/" THIRD "/correct", "{'fields':{'packs':1},'reason':'x'}"},
    {"brought_back", 200, "POST complaints/" THIRD "/withdraw",
     "{'reason':'no','by':'Mira','undo':true}"},
    {"history_complaint", 200, "GET history/" FIRST, NULL},
};

static const struct step CASES[] = {
    {"cases", 200, "GET cases?state=all&order=urgent&limit=2", NULL},
    {"cases_line", 200, "GET cases?line=1&symptom=mold", NULL},
    {NULL, 400, "GET cases?state=blue", NULL},
    {"case", 200, "GET cases/C1", NULL},
    {"why", 200, "GET cases/C1/why", NULL},
    {"why_one", 200, "GET cases/C1/why?cause=packed-hot", NULL},
    {"ask", 200, "GET cases/C1/ask", NULL},
    {"ask_harm", 200, "GET cases/C2/ask", NULL},
    {"reach", 200, "GET cases/C1/reach", NULL},
    {"reach_harm", 200, "GET cases/C2/reach", NULL},
    {NULL, 200, "GET cases/C1/facts", NULL},
    {NULL, 200, "GET cases/C1.html", NULL},
    {NULL, 404, "GET cases/C999", NULL},
    {"ranks", 200, "GET ranks?limit=5", NULL},
    {"follow", 200, "POST cases/C1/follow",
     "{'by':'mira','owner':'jo','due':'2027-01-01','severity':'high','reason':'a brand','note':"
     "'rang the store'}"},
    {NULL, 400, "POST cases/C1/follow", "{'by':'mira','note':''}"},
    {"followed", 200, "GET cases/C1/follow", NULL},
    {"call_back", 200, "POST cases/C1/follow",
     "{'by':'mira','call_back':'2027-01-01','complaint':'" FIRST "'}"},
    {"call_backs", 200, "GET call-backs", NULL},
    {"answered", 200, "POST cases/C1/follow",
     "{'by':'mira','answered':'we look into it','complaint':'" FIRST "'}"},
    {"verdict", 200, "POST cases/C1/verdict",
     "{'cause':'packed-hot','confirmed_by':'assay','by':'mira','note':'fan'}"},
    {"verdict_again", 409, "POST cases/C1/verdict",
     "{'cause':'packed-hot','confirmed_by':'assay','by':'mira'}"},
    {"scores", 200, "GET scores", NULL},
    {"reopened", 200, "POST cases/C1/verdict", "{'reopen':true,'by':'mira'}"},
    {"despite", 409, "POST cases/C2/verdict",
     "{'cause':'packed-hot','confirmed_by':'assay','by':'mira'}"},
    {"history_case", 200, "GET history/C1", NULL},
};

static const struct step LOTS[] = {
    {"hold", 200, "POST lots/hold", "{'lots':['L1 6318 A0400'],'reason':'wet bags','by':'mira'}"},
    {"hold_unknown", 200, "POST lots/hold",
     "{'lots':['L1 6330 A0400'],'reason':'wet bags','by':'mira'}"},
    {"holds", 200, "GET holds", NULL},
    {NULL, 400, "POST lots/hold", "{'lots':[],'reason':'wet bags','by':'mira'}"},
    {"release", 200, "POST lots/release",
     "{'lots':['L1 6318 A0400'],'disposition':'rework','reason':'dry','by':'mira'}"},
    {"release_again", 409, "POST lots/release",
     "{'lots':['L1 6318 A0400'],'disposition':'rework','reason':'dry','by':'mira'}"},
    {"measure", 200, "POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[{'quantity':'crumb_ph','value':'6.4 pH'},{'quantity':"
     "'yeasts','value':'<10'}],'lab':'Northgate','sample':'26-114','by':'mira','at':'2026-11-24',"
     "'method':'probe'}"},
    {"measure_same", 200, "POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[{'quantity':'crumb_ph','value':'6.4 pH'}],'lab':"
     "'Northgate','sample':'26-114','by':'mira','at':'2026-11-24','method':'probe'}"},
    {"measure_other", 200, "POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[{'quantity':'crumb_ph','value':'6.1 pH'}],'lab':"
     "'Northgate','sample':'26-114','by':'mira'}"},
    {"measure_bad", 400, "POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[{'quantity':'crumb_ph','value':'wet'}],'lab':'Northgate',"
     "'sample':'26-115','by':'mira'}"},
    {"lot", 200, "GET lots/" HOT, NULL},
    {"lot_misread", 200, "GET lots/L1%206318%20A04O0", NULL},
    {"lot_unknown", 200, "GET lots/L1%206330%20A0400", NULL},
    {"history_lot", 200, "GET history/" HOT, NULL},
};

static const struct step STUDY[] = {
    {"action", 201, "POST actions",
     "{'line':'1','cause':'packed-hot','note':'new fan','by':'mira'}"},
    {NULL, 400, "POST actions", "{'line':'1','what':'new fan','by':'mira'}"},
    {"actions", 200, "GET actions", NULL},
    {"found", 200, "GET found?word=sour", NULL},
    {"week", 200, "GET weeks/2026-W47", NULL},
    {NULL, 200, "GET weeks/2026-W47.html", NULL},
    {"span", 200, "GET spans/2026-11?by=line", NULL},
    {"trace", 200, "GET trace?symptom=mold&from=2026-11-01&to=2026-11-30", NULL},
    {"returns", 200, "GET returns?from=2026-11-01&to=2026-11-30", NULL},
    {"gaps", 200, "GET gaps?weeks=2", NULL},
    {"whatif", 200, "GET whatif?of=" HOT, NULL},
    {"outbox", 200, "GET outbox", NULL},
    {"calibration", 200, "GET calibration", NULL},
    {NULL, 200, "GET rules", NULL},
    {NULL, 200, "GET status/recount", NULL},
    {"exports", 200, "GET export", NULL},
    {NULL, 200, "GET export/lots.csv", NULL},
    {NULL, 200, "GET export/complaints.ndjson?contacts=1", NULL},
    {NULL, 200, "GET attachments?of=C1", NULL},
    {"erase", 200, "POST erase", "{'contact':'555-0101','by':'mira'}"},
};

#define FOURTH "01990000-0000-7000-8000-000000000004"
#define FIFTH "01990000-0000-7000-8000-000000000005"
#define UPLOAD(n) "01990000-0000-7000-8000-0000000000a" #n

/* What is attached, what the daemon is told to go by, and everything as files. */
static const struct step FILES[] = {
    {"log_same", 201, "POST complaints",
     COMPLAINT(FOURTH, "L1 6318 A0400", ",'same_as':'" FIRST "','store':'0417'")},
    {"log_same_too", 201, "POST complaints",
     COMPLAINT(FIFTH, "L1 6318 A0400", ",'same_as':'" FIRST "','packs':3,'note':'green on top'")},
    {"upload", 200, "POST attachments/parts?part=0&upload=" UPLOAD(1), "Crumb pH 6.4,\n"},
    {NULL, 200, "POST attachments/parts?part=1&upload=" UPLOAD(1), "sample 26-114\n"},
    {NULL, 200, "POST attachments/parts?part=0&upload=" UPLOAD(2), "she was sick all night\n"},
    {"attach", 200, "POST attachments",
     "{'to':'C1','upload':'" UPLOAD(1) "','name':'lab.txt','by':'mira'}"},
    {"attach_harm", 200, "POST attachments",
     "{'to':'" FIRST "','upload':'" UPLOAD(2) "','name':'call.txt','by':'mira'}"},
    {"attachments", 200, "GET attachments?of=C1", NULL},
    {NULL, 200, "GET attachments/1", NULL},
    {"export_attached", 200, "GET export/attached.ndjson?contacts=1", NULL},
    {"detach", 200, "POST attachments/1/detach", "{'reason':'another lot','by':'mira'}"},
    {NULL, 404, "GET attachments/1", NULL},
    {"learn", 200, "POST scores", "{'learn':true,'by':'mira'}"},
    {"learn_again", 409, "POST scores", "{'learn':true,'by':'mira'}"},
    {"unlearn", 200, "POST scores", "{'learn':false,'by':'mira'}"},
    {"adopt_none", 409, "POST calibration", "{'adopt':true,'by':'mira'}"},
    {"forget", 200, "POST calibration", "{'forget':true,'by':'mira'}"},
    {"export_verdicts", 200, "GET export/verdicts.csv", NULL},
    {"export_changes", 200, "GET export/changes.csv", NULL},
    {"export_follow", 200, "GET export/follow.csv", NULL},
    {"table_complaints", 200, "GET spans/2026-11?format=csv&table=complaints", NULL},
    {"table_cases", 200, "GET spans/2026-11?format=csv&table=cases", NULL},
    {NULL, 200, "GET weeks/2026-W47?format=csv", NULL},
    {NULL, 200, "GET export/epcis.json", NULL},
    {NULL, 200, "GET export/decisions.sh", NULL},
    {NULL, 200, "GET export/README.md", NULL},
};

static const struct step FILES_WRONG[] = {
    {NULL, 400, "POST attachments/parts?part=0&upload=7", "x"},
    {NULL, 400, "POST attachments/parts?part=0", "x"},
    {NULL, 400, "POST attachments/parts?part=-1&upload=" UPLOAD(3), "x"},
    {NULL, 404, "POST attachments",
     "{'to':'C99','upload':'" UPLOAD(3) "','name':'a.txt','by':'mira'}"},
    {NULL, 400, "POST attachments", "{'to':'C1','upload':'7','name':'a.txt','by':'mira'}"},
    {NULL, 400, "POST attachments", "{'to':'C1','name':'a.txt','by':'mira'}"},
    {NULL, 400, "POST attachments",
     "{'to':'C1','upload':'" UPLOAD(3) "','name':'../a.txt','by':'mira'}"},
    {NULL, 400, "POST attachments",
     "{'to':'C1','upload':'" UPLOAD(3) "','name':'.hidden','by':'mira'}"},
    {NULL, 404, "POST attachments/99/detach", "{'reason':'x','by':'mira'}"},
    {NULL, 404, "POST attachments/none/detach", "{'reason':'x','by':'mira'}"},
    {NULL, 400, "POST attachments/2/detach", "{'by':'mira'}"},
    {NULL, 400, "POST scores", "{'by':'mira'}"},
    {NULL, 400, "POST scores", "{'learn':'yes','by':'mira'}"},
    {NULL, 400, "POST scores", "{'learn':true}"},
    {NULL, 400, "POST calibration", "{'by':'mira'}"},
    {NULL, 400, "POST calibration", "{'adopt':true,'forget':true,'by':'mira'}"},
    {NULL, 400, "POST calibration", "{'forget':true}"},
};

/* Wrong as people and programs are wrong: nothing of it is done. */
#define CORRECT "POST complaints/" FIRST "/correct"
#define VERDICT "POST cases/C1/verdict"
static const struct step WRONG[] = {
    {NULL, 400, CORRECT, "{'fields':{},'reason':'x'}"},
    {NULL, 400, CORRECT, "{'fields':['packs'],'reason':'x'}"},
    {NULL, 400, CORRECT, "{'fields':{'packs':2}}"},
    {NULL, 400, CORRECT, "{'reason':'x'}"},
    {NULL, 400, CORRECT, "{'fields':{'colour':2},'reason':'x'}"},
    {NULL, 404, "POST complaints/01990000-0000-7000-8000-0000000000ff/correct",
     "{'fields':{'packs':2},'reason':'x'}"},
    {NULL, 400, "POST complaints/" FIRST "/join", "{}"},
    {NULL, 400, "POST complaints/" FIRST "/join",
     "{'same_as':'01990000-0000-7000-8000-0000000000ff'}"},
    {NULL, 404, "POST complaints/" FIRST "/separate", "{}"},
    {NULL, 400, "POST complaints/" FIRST "/withdraw", "{'by':'Mira'}"},
    {NULL, 400, VERDICT, "{'cause':'magic','confirmed_by':'assay','by':'mira'}"},
    {NULL, 400, VERDICT, "{'cause':'packed-hot','confirmed_by':'magic','by':'mira'}"},
    {NULL, 400, VERDICT, "{'cause':'packed-hot','by':'mira'}"},
    {NULL, 400, VERDICT, "{'confirmed_by':'assay','by':'mira'}"},
    {NULL, 404, VERDICT, "{'reopen':true,'by':'mira'}"},
    {NULL, 404, "POST cases/C99/verdict", "{'cause':'packed-hot','confirmed_by':'assay','by':'m'}"},
    {NULL, 400, "POST cases/C1/follow", "{'by':'mira'}"},
    {NULL, 400, "POST cases/C1/follow", "{'by':'mira','due':'soon'}"},
    {NULL, 400, "POST cases/C1/follow", "{'by':'mira','severity':'awful','reason':'x'}"},
    {NULL, 404, "POST cases/C1/follow",
     "{'by':'mira','answered':'x','complaint':'01990000-0000-7000-8000-0000000000ff'}"},
    {NULL, 404, "GET cases/C1/why?cause=magic", NULL},
    {NULL, 404, "GET cases/C1/reach?cause=magic", NULL},
    {NULL, 404, "GET cases/C1?revision=99", NULL},
    {NULL, 400, "POST lots/hold", "{'lots':['L1 6318 A0400'],'by':'mira'}"},
    {NULL, 400, "POST lots/hold", "{'lots':'L1 6318 A0400','reason':'x','by':'mira'}"},
    {NULL, 400, "POST lots/hold", "{'lots':[''],'reason':'x','by':'mira'}"},
    {NULL, 400, "POST lots/release", "{'lots':['L1 6318 A0400'],'reason':'x','by':'mira'}"},
    {NULL, 400, "POST lots/release",
     "{'lots':['L1 6318 A0400'],'disposition':'eat','reason':'x','by':'mira'}"},
    {NULL, 400, "POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[],'lab':'N','sample':'1','by':'mira'}"},
    {NULL, 400, "POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[{'quantity':'crumb_ph','value':'6'}],'sample':'1'}"},
    {NULL, 404, "POST lots/measure",
     "{'lot':'L1 6330 A0400','results':[{'quantity':'crumb_ph','value':'6'}],'lab':'N',"
     "'sample':'1','by':'mira'}"},
    {NULL, 400, "POST actions", "{'line':'1','cause':'magic','note':'x','by':'mira'}"},
    {NULL, 404, "GET actions/99/effect", NULL},
    {NULL, 404, "GET actions/99999999999999999999/effect", NULL},
    {NULL, 400, "POST erase", "{'contact':'','by':'mira'}"},
    {NULL, 400, "POST erase", "{'by':'mira'}"},
    {NULL, 404, "POST outbox/99/send", "{}"},
    {NULL, 400, "POST backup", "{}"},
    {NULL, 400, "POST restore/look", "{'file':'none.db'}"},
    {NULL, 404, "GET attachments/99", NULL},
    {NULL, 400, "GET weeks/2026-W54", NULL},
    {NULL, 400, "GET spans/2026-13", NULL},
    {NULL, 400, "GET weeks/2026-W47?by=moon", NULL},
    {NULL, 400, "GET trace?symptom=mold&from=2026-11-30&to=2026-11-01", NULL},
    {NULL, 400, "GET trace?symptom=wet&from=2026-11-01&to=2026-11-30", NULL},
    {NULL, 400, "GET returns?from=2026-11-30&to=2026-11-01", NULL},
    {NULL, 400, "GET gaps?weeks=0", NULL},
    {NULL, 404, "GET export/people.csv", NULL},
    {NULL, 404, "GET complaints/01990000-0000-7000-8000-0000000000ff", NULL},
    {NULL, 404, "GET history/C99", NULL},
    {NULL, 400, "POST complaints/preview", "{'symptom':'mold','received_at':'yesterday'}"},
};

/* Many lines at once, records that change, questions with all their words. */
#define SIXTH "01990000-0000-7000-8000-000000000006"
#define SEVENTH "01990000-0000-7000-8000-000000000007"
static const struct step MORE[] = {
    {"lines", 200, "POST complaints",
     COMPLAINT(SIXTH, "L2 6318 A0400", ",'reference':'T-7'") "\n" COMPLAINT(
         SEVENTH, "L1 6317 A0400", ",'reference':'T-7','note':'green'") "\n"},
    {"lines_again", 200, "POST complaints",
     COMPLAINT(SIXTH, "L2 6318 A0400", ",'reference':'T-7'") "\n\n{'symptom':'wet'}\n"
                                                             "{'symptom':\n{'symptom':'mold','harm'"
                                                             ":['illness'],'received_at':'x'}\n"},
    {"named_twice", 409, "GET complaints/T-7", NULL},
    {"history_named", 409, "GET history/T-7", NULL},
    {"lots_changed", 200, "POST records/lots?source=l2.csv",
     "lot,product,line,made_from,made_to,packed_from,packed_to,units,code_date\n"
     "L1 6318 A0400,W24,2,2026-11-14T00:00:00-05:00,2026-11-14T03:00:00-05:00,"
     "2026-11-14T05:00:00-05:00,2026-11-14T07:00:00-05:00,4800,2026-11-25\n"},
    {"readings_changed", 200, "POST records/readings?source=r2.csv",
     "lot,quantity,value,at\nL1 6318 A0400,core_at_pack_c,46.5,2026-11-14T04:10:00-05:00\n"},
    {"uses_changed", 200, "POST records/uses?source=u2.csv",
     "lot,material,material_lot,amount,unit,supplier\n"
     "L1 6318 A0400,film,F-0911,13.5,kg,Kite Film\n"},
    {"history_changed", 200, "GET history/" HOT, NULL},
    {"whatif_set", 200, "GET whatif?of=C1&set=core_at_pack_c%3D39", NULL},
    {"whatif_hold", 200, "GET whatif?of=" HOT "&set=crumb_ph%3D5.2&hold=9", NULL},
    {NULL, 400, "GET whatif?of=" HOT "&set=crumb_ph", NULL},
    {NULL, 400, "GET whatif?of=" HOT "&set=never%3D5", NULL},
    {NULL, 400, "GET whatif?of=" HOT "&set=crumb_ph%3D99", NULL},
    {NULL, 400, "GET whatif?of=" HOT "&hold=0", NULL},
    {NULL, 404, "GET whatif?of=C99", NULL},
    {NULL, 404, "GET whatif?of=NOPE", NULL},
    {NULL, 400, "GET whatif", NULL},
    {"find_store", 200, "GET complaints?store=0417", NULL},
    {"find_since", 200, "GET complaints?since=2026-11-20&limit=2", NULL},
    {"find_ticket", 200, "GET complaints?ticket=T-7&product=W24", NULL},
    {"find_name", 200, "GET complaints?name=bee", NULL},
    {NULL, 400, "GET complaints?since=soon", NULL},
    {"cases_product", 200, "GET cases?product=W24&state=open&limit=1", NULL},
    {"cases_symptom", 200, "GET cases?symptom=staling", NULL},
    {"cases_owner", 200, "GET cases?owner=jo&state=all&order=newest", NULL},
    {"cases_overdue", 200, "GET cases?overdue=1&state=all", NULL},
    {"lot_of", 200, "GET lots/6318?product=W24&code_date=2026-11-24&store=0417", NULL},
    {"effect", 200, "GET actions/1/effect?days=7", NULL},
    {NULL, 400, "GET actions/1/effect?days=0", NULL},
    {NULL, 400, "GET cases?cause=magic", NULL},
    {NULL, 400, "GET cases?since=soon", NULL},
    {"ranks_lines", 200, "GET ranks?limit=1", NULL},
    {"returns_all", 200, "GET returns?from=2026-11-01&to=2026-11-30", NULL},
    {"week_by", 200, "GET weeks/2026-W47?by=line,route", NULL},
    {"span_against", 200, "GET spans/2026-11?against=2026-10", NULL},
    {"export_lots", 200, "GET export/lots.csv", NULL},
    {"export_uses", 200, "GET export/uses.csv", NULL},
    {"export_holds", 200, "GET export/holds.csv", NULL},
    {"export_actions", 200, "GET export/actions.csv", NULL},
    {"export_measured", 200, "GET export/measured.csv", NULL},
    /* a product whose code reads like a case's: none of its lots is on record */
    {NULL, 200, "POST records/products?source=p3.csv",
     "product,name,family,shelf_life_days,unit_g\nC01,Mill Rye,pan-bread,10,680\n"
     "C1,Mill Oat,pan-bread,10,680\nC98,Mill Bun,bun,8,60\n"},
    {NULL, 404, "GET whatif?of=C01", NULL},
    {NULL, 404, "GET whatif?of=C98", NULL},
    {NULL, 409, "GET whatif?of=C1", NULL},
    {NULL, 200, "GET whatif?of=C2", NULL},
};

/* What cannot quite be right of a complaint is said, each in its words; nothing is logged. */
#define PREVIEW "POST complaints/preview"
static const struct step DOUBTS[] = {
    {NULL, 200, "POST records/products?source=p2.csv",
     "product,name,family,shelf_life_days,unit_g\nW25,Mill Wheat Round,pan-bread,10,680\n"
     "R12,Rolls,bun,8,450\n"},
    {NULL, 200, "POST records/dispatch?source=d2.csv",
     "lot,route,at,units,store\nL1 6317 A0400,R5,2026-11-13T09:00:00-05:00,600,Elm Street\n"
     "L1 6317 A0400,R5,2026-11-13T09:00:00-05:00,600,Elm Street North\n"},
    {"doubt_product", 200, PREVIEW, COMPLAINT(FIRST, "", ",'product':'Mill Wheat'")},
    {"doubt_no_product", 200, PREVIEW, COMPLAINT(FIRST, "", ",'product':'Baguette'")},
    {"doubt_date_late", 200, PREVIEW,
     COMPLAINT(FIRST, "", ",'product':'R12','code_date':'2026-12-24'")},
    {"doubt_date_past", 200, PREVIEW,
     COMPLAINT(FIRST, "", ",'product':'R12','code_date':'2026-11-10'")},
    {"doubt_lot", 200, PREVIEW,
     COMPLAINT(FIRST, "L1 6318 A0400",
               ",'product':'R12','code_date':'2026-11-29','store':'Elm Street North','bought_on':"
               "'2026-11-12','found_on':'2026-11-13'")},
    {"doubt_places", 200, PREVIEW,
     COMPLAINT(FIRST, "L1 6318 A0400", ",'store':'Nowhere Road','route':'R99','plant':'Moon'")},
    {"doubt_store_part", 200, PREVIEW, COMPLAINT(FIRST, "L1 6317 A0400", ",'store':'Elm'")},
    {"doubt_early", 200, PREVIEW,
     "{'received_at':'2026-11-13T09:14:00-05:00','channel':'phone','symptom':'mold','lot_text':"
     "'L1 6318 A0400'}"},
    {"doubt_long_before", 200, PREVIEW,
     "{'received_at':'2024-11-13T09:14:00-05:00','channel':'phone','symptom':'mold'}"},
    {"measured_unit", 200, PREVIEW,
     COMPLAINT(FIRST, "L1 6318 A0400", ",'measured':{'core_at_pack [degF]':117.5,'crumb_ph':6.1}")},
    {NULL, 400, PREVIEW, COMPLAINT(FIRST, "", ",'measured':{'core_at_pack [degF':117.5}")},
    {NULL, 400, PREVIEW, COMPLAINT(FIRST, "", ",'measured':{'core_at_pack []':117.5}")},
    {NULL, 400, PREVIEW, COMPLAINT(FIRST, "", ",'measured':{'core_at_pack [degF] x':117.5}")},
    {NULL, 400, PREVIEW, COMPLAINT(FIRST, "", ",'measured':{'core_at_pack [kg]':117.5}")},
    {NULL, 400, PREVIEW, COMPLAINT(FIRST, "", ",'measured':{'never [degC]':17}")},
    {NULL, 400, PREVIEW, COMPLAINT(FIRST, "", ",'measured':{'never':17}")},
    {NULL, 400, PREVIEW, COMPLAINT(FIRST, "", ",'measured':{'crumb_ph':99}")},
    {"refused_before", 200, "POST complaints",
     "{'symptom':'mold','refused':{'faults':[{'field':'lot','value':'?','reason':'no such day',"
     "'hint':'look again'}]}}\n"},
    {"same_note", 200, "POST complaints",
     "{'id':'01990000-0000-7000-8000-000000000008','received_at':'2026-11-20T10:14:00-05:00',"
     "'channel':'phone','symptom':'mold','same_as':'" FIRST "','note':'black at the side'}\n"
     "{'id':'01990000-0000-7000-8000-000000000009','received_at':'2026-11-20T10:15:00-05:00',"
     "'channel':'phone','symptom':'mold','same_as':'01990000-0000-7000-8000-0000000000ff'}\n"},
    {"case_doubted", 200, "GET cases/C1", NULL},
};

static const struct {
    const struct step *steps;
    size_t count;
} CHAPTERS[] = {{RECORDS, COUNT_OF(RECORDS)},
                {COMPLAINTS, COUNT_OF(COMPLAINTS)},
                {CASES, COUNT_OF(CASES)},
                {LOTS, COUNT_OF(LOTS)},
                {STUDY, COUNT_OF(STUDY)}};

static void take(struct fixture *f, const struct step *step)
{
    struct asked *a = fixture_ask(f, f->store, step->what, step->body);
    json_t *answer = NULL;
    if (a->status != step->status)
        fail_msg("%s: %d %s", step->what, a->status, a->body.length ? a->body.data : "");
    if (step->name) {
        struct error err = {0};
        json_t *all = json_array();
        for (char *line = strtok(a->body.data, "\n"); line; line = strtok(NULL, "\n")) {
            if (*line != '{' && *line != '[') /* of a table */
                answer = json_string(line);
            else if (jsonx_parse(line, strlen(line), &answer, &err))
                fail_msg("%s: %s", step->what, err.text);
            json_array_append_new(all, answer);
        }
        told_check("serve", step->name, all);
    }
    fixture_asked_free(a);
}

/* ---- a disk that fails ---- */

struct question {
    struct fixture *f;
    const char *what;
};

/* As serve/http.c answers: of a read that failed the store tells in its stead. */
static int put(void *arg, struct error *err)
{
    const struct question *q = arg;
    kept_free(q->f->app.kept); /* what was made before is no answer here */
    q->f->app.kept = kept_new();
    struct asked *a = fixture_ask(q->f, q->f->store, q->what, NULL);
    int rc = a->status >= 500 ? ERROR_INTERNAL : 0;
    if (rc)
        error_set(err, ERROR_INTERNAL, "%.200s", a->body.data);
    fixture_asked_free(a);
    return rc;
}

static void what_people_ask_is_answered_as_it_was(void **state)
{
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(CHAPTERS); i++)
        for (size_t k = 0; k < CHAPTERS[i].count; k++)
            take(f, &CHAPTERS[i].steps[k]);
}

/* How many failures the store alone tells of: serve/http.c asks it (store_failed()). */
static int64_t rows(struct fixture *f)
{
    static const char *const COUNTS[] = {/* a statement is known by its address (store/db.h) */
                                         "SELECT COUNT(*) FROM complaint",
                                         "SELECT COUNT(*) FROM verdict",
                                         "SELECT COUNT(*) FROM hold",
                                         "SELECT COUNT(*) FROM measured",
                                         "SELECT COUNT(*) FROM corrective_action",
                                         "SELECT COUNT(*) FROM complaint_change",
                                         "SELECT COUNT(*) FROM contact",
                                         "SELECT COUNT(*) FROM outbox",
                                         "SELECT COUNT(*) FROM attached",
                                         "SELECT COUNT(*) FROM setting"};
    int64_t sum = 0;
    for (size_t i = 0; i < COUNT_OF(COUNTS); i++)
        sum += fixture_count(f, COUNTS[i]);
    return sum;
}

static void refuse_all(struct fixture *f, const struct step *steps, size_t count)
{
    const int64_t before = rows(f);
    int wrong = 0;
    assert_true(before > 0);
    for (size_t k = 0; k < count; k++) {
        struct asked *a = fixture_ask(f, f->store, steps[k].what, steps[k].body);
        if (a->status != steps[k].status || !strstr(a->body.data, "detail")) {
            print_error("%s %s: %d %s\n", steps[k].what, steps[k].body ? steps[k].body : "",
                        a->status, a->body.length ? a->body.data : "");
            wrong++;
        }
        fixture_asked_free(a);
    }
    assert_int_equal(wrong, 0);
    assert_int_equal(rows(f), before);
}

static void what_is_wrong_is_refused_and_changes_nothing(void **state)
{
    refuse_all(*state, WRONG, COUNT_OF(WRONG));
}

/* Whole and right, each with all of its members. */
static const struct step WHOLE[] = {
    {NULL, 0, CORRECT, "{'fields':{'packs':2},'reason':'x','by':'mira'}"},
    {NULL, 0, "POST complaints/" FIRST "/withdraw", "{'reason':'x','by':'mira','undo':false}"},
    {NULL, 0, "POST complaints/" THIRD "/join", "{'same_as':'" FIRST "'}"},
    {NULL, 0, VERDICT,
     "{'reopen':false,'at':'2026-11-24T09:00:00Z','by':'mira','note':'x','anyway':'x','cause':'"
     "packed-hot',"
     "'confirmed_by':'assay'}"},
    {NULL, 0, "POST cases/C1/follow",
     "{'by':'mira','owner':'jo','due':'2027-01-01','severity':'high','reason':'x','note':'x',"
     "'call_back':'2027-01-01','why':'x','complaint':'" FIRST "'}"},
    {NULL, 0, "POST cases/C1/follow",
     "{'by':'mira','answered':'x','answered_at':'2026-11-24T09:00:00Z','complaint':'" FIRST "'}"},
    {NULL, 0, "POST lots/hold",
     "{'lots':['L2 6318 A0400'],'reason':'x','by':'mira','at':'2026-11-24T09:00:00Z','case':'C1',"
     "'still_about':true,'skip_gone':true}"},
    {NULL, 0, "POST lots/release",
     "{'lots':['L1 6330 "
     "A0400'],'disposition':'rework','reason':'x','by':'mira','at':'2026-11-24T09:00:00Z',"
     "'case':'C1','hold':'H1','anyway':'x','all':false}"},
    {NULL, 0, "POST lots/measure",
     "{'lot':'L1 6318 A0400','results':[{'quantity':'crumb_ph','value':'6'}],'lab':'N','sample':"
     "'1','method':'x','note':'x','reason':'x','case':'C1','at':'2026-11-24T09:00:00Z','by':'mira'"
     "}"},
    {NULL, 0, "POST actions",
     "{'line':'1','cause':'packed-hot','place':'slicer','symptom':'mold','note':'x','at':"
     "'2026-11-24','by':'mira'}"},
    {NULL, 0, "POST attachments",
     "{'to':'C1','upload':'01990000-0000-7000-8000-0000000000a1','name':'a.txt','by':'mira',"
     "'of_case':true}"},
    {NULL, 0, "POST scores", "{'learn':true,'by':'mira'}"},
    {NULL, 0, "POST calibration", "{'forget':true,'by':'mira'}"},
    {NULL, 0, "POST calibration", "{'adopt':true,'by':'mira'}"},
};

/* Is what was asked refused as wrong, by that name? */
static bool is_refused(struct fixture *f, const char *what, const char *body, const char *name)
{
    struct asked *a = fixture_ask(f, f->store, what, body);
    char field[80];
    snprintf(field, sizeof field, "\"field\":\"%s\"", name);
    bool refused = a->status == 400 && strstr(a->body.data, field);
    if (!refused)
        print_error("%s %.300s: %s, %d %.300s\n", what, body ? body : "", name, a->status,
                    a->body.length ? a->body.data : "");
    fixture_asked_free(a);
    return refused;
}

/* `with` in place of a member of what is right. */
static int wrong_with(struct fixture *f, const struct step *step, const char *name, json_t *with)
{
    char *right = fixture_json(step->body);
    json_t *body = NULL;
    assert_int_equal(jsonx_parse(right, strlen(right), &body, NULL), 0);
    json_object_set_new(body, name, with);
    char *wrong = json_dumps(body, JSON_COMPACT);
    int rc = is_refused(f, step->what, wrong, name) ? 0 : 1;
    free(wrong);
    json_decref(body);
    free(right);
    return rc;
}

static int wrong_each(struct fixture *f, const struct step *step)
{
    enum { LONG = 70000 };
    static char endless[LONG + 1];
    char *right = fixture_json(step->body);
    json_t *body = NULL, *value;
    const char *name;
    int wrong = 0;
    memset(endless, 'x', LONG);
    assert_int_equal(jsonx_parse(right, strlen(right), &body, NULL), 0);
    json_object_foreach(body, name, value)
    {
        wrong += wrong_with(f, step, name, json_integer(7));
        if (json_is_string(value) && strcmp(name, "complaint") != 0) /* not found then */
            wrong += wrong_with(f, step, name, json_string(endless));
    }
    json_decref(body);
    free(right);
    return wrong;
}

static void each_member_that_is_wrong_is_named(void **state)
{
    struct fixture *f = *state;
    const int64_t before = rows(f);
    int wrong = 0;
    for (size_t i = 0; i < COUNT_OF(WHOLE); i++)
        wrong += wrong_each(f, &WHOLE[i]);
    assert_int_equal(wrong, 0);
    assert_int_equal(rows(f), before);
}

static void each_word_of_a_question_that_is_wrong_is_named(void **state)
{
    static const struct {
        const char *name, *what;
    } ROWS[] = {
        {"limit", "GET call-backs?limit=0"},
        {"limit", "GET call-backs?limit=1001"},
        {"limit", "GET cases?limit=0"},
        {"limit", "GET cases?limit=x"},
        {"state", "GET cases?state=blue"},
        {"order", "GET cases?order=blue"},
        {"overdue", "GET cases?overdue=2"},
        {"since", "GET cases?since=soon"},
        {"symptom", "GET cases?symptom=wet"},
        {"revision", "GET cases/C1?revision=0"},
        {"revision", "GET cases/C1?revision=2147483648"},
        {"limit", "GET complaints?limit=1x"},
        {"after", "GET complaints?after=x"},
        {"since", "GET complaints?since=soon"},
        {"limit", "GET found?word=sour&limit=0"},
        {"since", "GET found?word=sour&since=soon"},
        {"limit", "GET ranks?limit=0"},
        {"after", "GET ranks?after=x"},
        {"all", "GET ranks?all=2"},
        {"weeks", "GET gaps?weeks=0"},
        {"within", "GET gaps?weeks=1&within=0"},
        {"within", "GET gaps?weeks=1&within=31"},
        {"record", "GET gaps?weeks=1&record=moon"},
        {"hold", "GET whatif?of=" HOT "&hold=0"},
        {"share", "GET whatif?of=" HOT "&hold=3&share=49"},
        {"share", "GET whatif?of=" HOT "&hold=3&share=100"},
        {"code_date", "GET lots/6318?code_date=soon"},
        {"days", "GET actions/1/effect?days=0"},
        {"format", "GET weeks/2026-W47?format=doc"},
        {"table", "GET weeks/2026-W47?format=csv&table=x"},
        {"by", "GET weeks/2026-W47?by=moon"},
        {"against", "GET weeks/2026-W47?against=2026-W54"},
        {"from", "GET trace?symptom=mold&from=x&to=2026-11-30"},
        {"to", "GET trace?symptom=mold&from=2026-11-01&to=x"},
        {"symptom", "GET trace?symptom=wet&from=2026-11-01&to=2026-11-30"},
        {"from", "GET returns?from=2026-11-30&to=2026-11-01"},
        {"contacts", "GET export/complaints.ndjson?contacts=2"},
        {"after", "GET export/complaints.ndjson?after=x"},
        {"part", "POST records/lots?source=x&load=" LOAD "&part=x"},
        {"last", "POST records/lots?source=x&load=" LOAD "&part=0&last=2"},
        {"load", "POST records/lots?source=x&load=7&part=0"},
        {"dry_run", "POST records/lots?source=x&dry_run=2"},
        {"keep_good", "POST records/lots?source=x&keep_good=2"},
        {"from", "GET loads/" LOAD "/refused?from=x"},
    };
    int wrong = 0;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++)
        wrong += is_refused(*state, ROWS[i].what, NULL, ROWS[i].name) ? 0 : 1;
    assert_int_equal(wrong, 0);
}

static void of_a_disk_that_fails_nothing_is_answered(void **state)
{
    static const struct {
        const char *what;
        int unsaid;
    } ASKED[] = {{"GET complaints?lot=" HOT, 9},
                 {"GET complaints?word=sour", 5},
                 {"GET complaints/" FIRST, 0},
                 {"GET history/C1", 0},
                 {"GET cases?state=all", 12},
                 {"GET cases/C1/follow", 5},
                 {"GET call-backs", 3},
                 {"GET holds", 0},
                 {"GET lots/" HOT, 3},
                 {"GET attachments?of=C1", 0},
                 {"GET actions", 0},
                 {"GET returns?from=2026-11-01&to=2026-11-30", 0},
                 {"GET outbox", 0},
                 {"GET cases/C1", 7},
                 {"GET cases/C1/why", 4},
                 {"GET cases/C1/ask", 3},
                 {"GET cases/C1/reach", 4},
                 {"GET cases/C2/reach", 5},
                 {"GET cases/C1/facts", 3},
                 {"GET cases/C1.html", 0},
                 {"GET found?word=sour", 0},
                 {"GET scores", 0},
                 {"GET spans/2026-11?by=line", 0},
                 {"GET weeks/2026-W47", 0},
                 {"GET weeks/2026-W47.html", 0},
                 {"GET trace?symptom=mold&from=2026-11-01&to=2026-11-30", 0},
                 {"GET gaps?weeks=2", 0},
                 {"GET whatif?of=" HOT, 1},
                 {"GET calibration", 0},
                 {"GET export/lots.csv", 0},
                 {"GET export/complaints.ndjson", 3}};
    for (size_t i = 0; i < COUNT_OF(ASKED); i++) {
        struct question q = {*state, ASKED[i].what};
        failing_check(q.f->store, put, &q, ASKED[i].what, ASKED[i].unsaid);
    }
}

/* ---- behind the desk's back ---- */

static int add_mail(void *arg, int64_t mail_id, const char *payload)
{
    json_t *mail = NULL;
    (void)mail_id;
    assert_int_equal(jsonx_parse(payload, strlen(payload), &mail, NULL), 0);
    json_array_append_new(arg, mail);
    return 0;
}

/* All that is due is ranked and mailed; of what was, nothing is left. */
static void what_is_due_is_ranked_and_mailed(void **state)
{
    static const char *const KINDS[] = {WORK_RANK, WORK_BULK, WORK_AGAIN};
    struct fixture *f = *state;
    struct rematching *rematching = rematching_new(&f->app);
    json_t *mails = json_array();
    struct error err = {0};
    struct work_row row;
    struct work_rows due = {&row, 0, 1};
    bool mailed, any = false;
    while (rematching_round(rematching, f->app.setup, f->store))
        ;
    reranking_spread(&f->app, f->store);
    for (size_t i = 0; i < COUNT_OF(KINDS); i++) {
        bool more = true;
        for (int round = 0; more && round < 99; round++) {
            more = reranking_round(&f->app, f->app.setup, f->store, KINDS[i], &mailed);
            any = any || mailed;
        }
        assert_false(more);
        assert_int_equal(work_due(f->store, KINDS[i], f->now_ms, &due, &err), 0);
        assert_int_equal(due.count, 0);
    }
    assert_true(any);
    news_tell(&f->app, f->app.setup, f->store);
    for (int64_t id = 1; id <= 2; id++)
        assert_int_equal(outbox_about(f->store, id, "", add_mail, mails, &err), 0);
    told_check("serve", "mails", mails);
    take(f, &(struct step){"outbox_ranked", 200, "GET outbox", NULL});
    take(f, &(struct step){"cases_ranked", 200, "GET cases?state=all", NULL});
    take(f, &(struct step){"follow_ranked", 200, "GET cases/C2/follow", NULL});
    rematching_free(rematching);
}

static void what_is_kept_beside_is_answered_as_it_was(void **state)
{
    for (size_t k = 0; k < COUNT_OF(FILES); k++)
        take(*state, &FILES[k]);
    refuse_all(*state, FILES_WRONG, COUNT_OF(FILES_WRONG));
}

/* What the doubts say, in the words of desk/doubts.c. */
static void doubts_in_words(struct fixture *f)
{
    static const char PATH[] = ODDLOAF_SOURCE_DIR "/tests/serve/told/doubts.txt";
    struct text_buffer said = {0};
    for (size_t k = 0; k < COUNT_OF(DOUBTS); k++) {
        json_t *answer = NULL, *doubt;
        size_t i;
        if (strcmp(DOUBTS[k].what, PREVIEW) != 0 || DOUBTS[k].status != 200)
            continue;
        struct asked *a = fixture_ask(f, f->store, PREVIEW, DOUBTS[k].body);
        assert_int_equal(jsonx_parse(a->body.data, strlen(a->body.data), &answer, NULL), 0);
        json_array_foreach(json_object_get(answer, "doubts"), i, doubt)
            text_appendf(&said, "%s: %s %s %s\n", DOUBTS[k].name,
                         json_string_value(json_object_get(doubt, "field")),
                         json_string_value(json_object_get(doubt, "value")),
                         json_string_value(json_object_get(doubt, "says")));
        json_decref(answer);
        fixture_asked_free(a);
    }
    const char *how = getenv("PAGES");
    if (how && strcmp(how, "write") == 0)
        pages_write(PATH, said.data);
    else
        pages_compare(PATH, said.data);
    text_buffer_free(&said);
}

static void many_lines_and_words(void **state)
{
    for (size_t k = 0; k < COUNT_OF(MORE); k++)
        take(*state, &MORE[k]);
    for (size_t k = 0; k < COUNT_OF(DOUBTS); k++)
        take(*state, &DOUBTS[k]);
    doubts_in_words(*state);
}

/* Harm in the reason of an end is mailed whatever came of the goods; of destroyed ones the very
 * words that a hold told are no news. */
static void harm_in_the_reason_of_an_end_is_mailed(void **state)
{
    static const struct {
        const char *held, *ended, *how;
        bool mailed;
    } ROWS[] = {{"wet bags", "Listeria found, woman died", "destroy", true},
                {"glass was found in the bread", "a customer broke a tooth on a stone in it",
                 "destroy", true},
                {"metal was found in the bread", "metal was found in the bread", "destroy", false},
                {"wet bags", "a customer broke a tooth on a stone in it", "divert", true}};
    struct fixture *f = *state;
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char hold[200], end[300];
        snprintf(hold, sizeof hold, "{'lots':['Z9 000%zu'],'reason':'%s','by':'mira'}", i,
                 ROWS[i].held);
        snprintf(end, sizeof end,
                 "{'lots':['Z9 000%zu'],'disposition':'%s','reason':'%s','by':'jo'}", i,
                 ROWS[i].how, ROWS[i].ended);
        fixture_asked_free(fixture_ask(f, f->store, "POST lots/hold", hold));
        struct asked *a = fixture_ask(f, f->store, "POST lots/release", end);
        if (a->status != 200 || !strstr(a->body.data, "\"heard\"") ||
            (strstr(a->body.data, "\"no_mail\"") == NULL) != ROWS[i].mailed)
            fail_msg("%zu: %d %s", i, a->status, a->body.data);
        fixture_asked_free(a);
    }
}

static int setup(void **state)
{
    *state = fixture_start(FIXTURE_SETTINGS);
    return 0;
}

static int teardown(void **state)
{
    return fixture_stop(*state);
}

/* What no rule ranks is settled as not known, and as nothing else. */
static void what_is_not_ranked_is_settled_as_not_known(void **state)
{
    static const struct {
        const char *cause;
        int status;
    } ROWS[] = {{"packed-hot", 400}, {"not-known", 200}};
    struct fixture *f = *state;
    fixture_does(f, "POST complaints",
                 "{'id':'01990000-0000-7000-8000-0000000000ee','received_at':"
                 "'2026-11-24T11:00:00-05:00','channel':'phone','symptom':'other','note':'torn'}",
                 201);
    for (size_t i = 0; i < COUNT_OF(ROWS); i++) {
        char what[64], body[128];
        snprintf(what, sizeof what, "POST cases/C%lld/verdict",
                 (long long)fixture_count(
                     f, "SELECT max(id) FROM complaint_case WHERE symptom = 'other'"));
        snprintf(body, sizeof body, "{'cause':'%s','confirmed_by':'assay','by':'mira'}",
                 ROWS[i].cause);
        fixture_does(f, what, body, ROWS[i].status);
    }
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(what_people_ask_is_answered_as_it_was),
        cmocka_unit_test(what_is_wrong_is_refused_and_changes_nothing),
        cmocka_unit_test(each_member_that_is_wrong_is_named),
        cmocka_unit_test(each_word_of_a_question_that_is_wrong_is_named),
        cmocka_unit_test(of_a_disk_that_fails_nothing_is_answered),
        cmocka_unit_test(what_is_due_is_ranked_and_mailed),
        cmocka_unit_test(what_is_kept_beside_is_answered_as_it_was),
        cmocka_unit_test(many_lines_and_words),
        cmocka_unit_test(harm_in_the_reason_of_an_end_is_mailed),
        cmocka_unit_test(what_is_not_ranked_is_settled_as_not_known),
    };
    return cmocka_run_group_tests(tests, setup, teardown);
}
