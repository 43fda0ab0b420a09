/* Who may come in, with connections of this program's own. */
#include "check.h"
#include "serve/door.h"

struct conn {
    struct door *door;
    void *place;
    bool has_bytes;
};

static size_t peeks;

void conn_close(struct conn *conn)
{
    door_leave(conn->door, conn);
}

void *conn_place(const struct conn *conn)
{
    return conn->place;
}

void conn_set_place(struct conn *conn, void *place)
{
    conn->place = place;
}

bool conn_has_bytes(const struct conn *conn)
{
    peeks++;
    return conn->has_bytes;
}

bool conn_is_writing(const struct conn *conn)
{
    (void)conn;
    return false;
}

enum { CONNECTIONS = 1000, PEEKS_MOST = 16, TURNS_MOST = 2 * CONNECTIONS / PEEKS_MOST };

static void a_full_house_is_looked_at_a_little_at_a_time(void **state)
{
    static struct conn conns[CONNECTIONS];
    const struct door_limits limits = {CONNECTIONS, CONNECTIONS, 1};
    struct door *door = door_new(&limits);
    (void)state;
    for (size_t i = 0; i < CONNECTIONS; i++) {
        conns[i] = (struct conn){.door = door, .has_bytes = true};
        door_enter(door, &conns[i], "mira");
        door_idle(door, &conns[i], true);
    }
    peeks = 0;
    assert_true(door_is_full(door));
    assert_in_range(peeks, 1, PEEKS_MOST);
    conns[CONNECTIONS - 1].has_bytes = false;
    int turns = 0;
    while (door_is_full(door) && turns < 2 * CONNECTIONS)
        turns++;
    assert_in_range(turns, 1, TURNS_MOST);
    assert_int_equal(door_ask(door, "ada"), DOOR_OPEN);
    assert_int_equal(door_count(door), CONNECTIONS - 1);
    door_free(door);
}

int main(void)
{
    const struct CMUnitTest tests[] = {
        cmocka_unit_test(a_full_house_is_looked_at_a_little_at_a_time)};
    return cmocka_run_group_tests(tests, NULL, NULL);
}
