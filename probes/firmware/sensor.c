#include "sensor.h"

/* A line under way. No line here has 80 characters; what is more is left out. */
struct line {
	char text[96];
	int used;
};

static void put(struct line *l, char c)
{
	if (l->used < (int)sizeof l->text - 1)
		l->text[l->used++] = c;
	l->text[l->used] = '\0';
}

static void put_text(struct line *l, const char *s)
{
	while (*s)
		put(l, *s++);
}

static void put_hex(struct line *l, uint32_t word, int digits)
{
	while (digits-- > 0)
		put(l, "0123456789ABCDEF"[word >> (4 * digits) & 0xF]);
}

static void put_number(struct line *l, int64_t n)
{
	char digits[20];
	int used = 0;
	uint64_t rest = n < 0 ? (uint64_t)-(n + 1) + 1 : (uint64_t)n;

	if (n < 0)
		put(l, '-');
	do
		digits[used++] = (char)('0' + rest % 10);
	while ((rest /= 10) > 0);
	while (used > 0)
		put(l, digits[--used]);
}

static void begin(struct line *l)
{
	l->used = 0;
	l->text[0] = '\0';
}

static void end(const struct board *b, struct line *l)
{
	/* A line without its end would spoil the next one too. */
	if (l->used == (int)sizeof l->text - 1)
		l->used--;
	put(l, '\n');
	b->print(b->context, l->text);
	begin(l);
}

void sensor_greet(const struct board *b)
{
	struct line l;

	begin(&l);
	put_text(&l, "# serial ");
	put_hex(&l, b->serial, 8);
	put_text(&l, ", INA226");
	end(b, &l);
}

/* A chip that does not answer, lost its power or was exchanged is set up anew. */
static bool set_up(const struct board *b, struct sensor *s)
{
	uint16_t word;

	s->ready = b->read(b->context, s->address, INA226_MAKER, &word) && word == INA226_MAKER_ID &&
		   b->write(b->context, s->address, INA226_CONFIGURATION, INA226_SET_UP);
	return s->ready;
}

struct words {
	uint16_t shunt, bus, flags;
};

/* The words of one conversion; otherwise why there are none. */
static const char *take(const struct board *b, struct sensor *s, struct words *w)
{
	uint16_t configuration;

	if (!s->ready && !set_up(b, s))
		return "no answer";
	if (!b->read(b->context, s->address, INA226_CONFIGURATION, &configuration) ||
	    !b->read(b->context, s->address, INA226_FLAGS, &w->flags) ||
	    !b->read(b->context, s->address, INA226_SHUNT, &w->shunt) ||
	    !b->read(b->context, s->address, INA226_BUS, &w->bus)) {
		s->ready = false;
		return "no answer";
	}
	if (configuration != INA226_SET_UP) { /* it lost its power: its range and averages are others */
		s->ready = false;
		return "it was reset";
	}
	return 0;
}

static void begin_id(struct line *l, const char *before, const struct sensor *s)
{
	begin(l);
	put_text(l, before);
	put_text(l, s->id);
}

static void print_words(const struct board *b, const struct sensor *s, const struct words *w, const char *fault)
{
	struct line l;

	begin_id(&l, "ch=", s);
	if (fault) {
		put_text(&l, " fault=");
		put_text(&l, fault);
	} else {
		put_text(&l, " shunt=");
		put_hex(&l, w->shunt, 4);
		put_text(&l, " bus=");
		put_hex(&l, w->bus, 4);
		put_text(&l, " flags=");
		put_hex(&l, w->flags, 4);
	}
	end(b, &l);
}

static void print_remark(const struct board *b, const struct sensor *s, const char *what)
{
	struct line l;

	begin_id(&l, "# ", s);
	put_text(&l, ": ");
	put_text(&l, what);
	end(b, &l);
}

/* The plain form has no word for a value that means nothing: it is left out, and a
 * remark says why. A conversion that is not done yet is no value either. */
static void print_values(const struct board *b, const struct sensor *s, const struct words *w, const char *fault)
{
	struct line l;
	int32_t counts = w->shunt >= 0x8000 ? (int32_t)w->shunt - 0x10000 : w->shunt;
	int64_t nanovolts = (int64_t)counts * 2500, per = s->shunt_uohm;

	if (!fault && w->flags & INA226_OVF)
		fault = "the chip reports an overflow";
	if (fault) {
		print_remark(b, s, fault);
		return;
	}
	if (!(w->flags & INA226_CVRF))
		return;
	if (w->bus < 0x7FFF) {
		begin_id(&l, "", s);
		put(&l, ',');
		put_number(&l, (int64_t)w->bus * 1250);
		put_text(&l, ",uV");
		end(b, &l);
	} else {
		print_remark(b, s, "the bus voltage is at the end of its scale");
	}
	if (per > 0 && counts > -0x8000 && counts < 0x7FFF) {
		/* uA = nV * 1000 / uohm, rounded to the nearest */
		int64_t doubled = nanovolts * 2000, half = doubled < 0 ? -per : per;

		begin_id(&l, "", s);
		put(&l, ',');
		put_number(&l, (doubled + half) / (2 * per));
		put_text(&l, ",uA");
		end(b, &l);
	} else if (per > 0) {
		print_remark(b, s, "the shunt voltage is at the end of its scale");
	}
}

void sensor_round(const struct board *b, struct sensor *sensors, int count, enum form form)
{
	int i;

	for (i = 0; i < count; i++) {
		struct words w = {0, 0, 0};
		const char *fault = take(b, &sensors[i], &w);

		if (form == WORDS)
			print_words(b, &sensors[i], &w, fault);
		else
			print_values(b, &sensors[i], &w, fault);
	}
}
