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

void sensor_start(const struct board *b)
{
	b->print(b->context, "#\n");
	sensor_greet(b);
}

void sensor_greet(const struct board *b)
{
	struct line l;

	begin(&l);
	put_text(&l, "# serial ");
	put_hex(&l, b->serial, 8);
	put_text(&l, ", INA226");
	if (b->reset) {
		put_text(&l, ", reset: ");
		put_text(&l, b->reset);
	}
	end(b, &l);
}

static const char *fault_text(enum sensor_fault f)
{
	switch (f) {
	case FAULT_NO_ANSWER:
		return "no answer";
	case FAULT_BUS_STUCK:
		return "the bus is stuck";
	case FAULT_RESET:
		return "it was reset";
	case FAULT_NO_CONVERSION:
		return "no conversion";
	default:
		return 0;
	}
}

/* The fault that the result of an access means. A chip that does not answer is set up again; one
 * on a stuck bus has kept its settings, or its configuration shows that it has not. */
static enum sensor_fault fault_of(struct sensor *s, enum bus_result r)
{
	if (r == BUS_NO_ANSWER)
		s->ready = false;
	return r == BUS_DONE ? FAULT_NONE : r == BUS_STUCK ? FAULT_BUS_STUCK : FAULT_NO_ANSWER;
}

static enum sensor_fault set_up(const struct board *b, struct sensor *s)
{
	uint16_t word = 0;
	enum bus_result r = b->read(b->context, s->address, INA226_MAKER, &word);

	if (r == BUS_DONE && word != INA226_MAKER_ID)
		r = BUS_NO_ANSWER; /* another chip is there */
	if (r == BUS_DONE)
		r = b->write(b->context, s->address, INA226_CONFIGURATION, INA226_SET_UP);
	s->ready = r == BUS_DONE;
	s->waited = 0;
	return fault_of(s, r);
}

struct words {
	uint16_t shunt, bus, flags;
};

/* Read the words of a new conversion; *fresh = there is one. */
static enum sensor_fault take(const struct board *b, struct sensor *s, struct words *w, bool *fresh)
{
	enum bus_result r;
	uint16_t again = 0, configuration = 0;
	int tries = 2;

	*fresh = false;
	if (!s->ready) {
		enum sensor_fault f = set_up(b, s);

		if (f != FAULT_NONE)
			return f;
	}
	r = b->read(b->context, s->address, INA226_FLAGS, &w->flags);
	if (r != BUS_DONE)
		return fault_of(s, r);
	if (!(w->flags & INA226_CVRF)) {
		if (++s->waited < SENSOR_PATIENCE)
			return FAULT_NONE;
		s->ready = false;
		return FAULT_NO_CONVERSION;
	}
	s->waited = 0;
	/* If a conversion ended meanwhile, the two words may be of two conversions: read them again. */
	do {
		if ((r = b->read(b->context, s->address, INA226_SHUNT, &w->shunt)) != BUS_DONE ||
		    (r = b->read(b->context, s->address, INA226_BUS, &w->bus)) != BUS_DONE ||
		    (r = b->read(b->context, s->address, INA226_FLAGS, &again)) != BUS_DONE)
			return fault_of(s, r);
		*fresh = !(again & INA226_CVRF);
		if (!*fresh)
			w->flags = again;
	} while (!*fresh && --tries > 0);
	/* A chip that lost its power has another range and other averages. It is looked for last, so
	 * that nothing was read after it. */
	r = b->read(b->context, s->address, INA226_CONFIGURATION, &configuration);
	if (r == BUS_DONE && configuration != INA226_SET_UP) {
		s->ready = false;
		return FAULT_RESET;
	}
	return fault_of(s, r);
}

/* Whether a fault is printed in this round. */
static bool is_due(struct sensor *s, enum sensor_fault f)
{
	bool due = f != s->fault || ++s->repeated >= SENSOR_PATIENCE;

	s->fault = f;
	if (due)
		s->repeated = 0;
	return due;
}

static void begin_id(struct line *l, const char *before, const struct sensor *s)
{
	begin(l);
	put_text(l, before);
	put_text(l, s->id);
}

static void print_words(const struct board *b, const struct sensor *s, const struct words *w)
{
	struct line l;

	begin_id(&l, "ch=", s);
	put_text(&l, " shunt=");
	put_hex(&l, w->shunt, 4);
	put_text(&l, " bus=");
	put_hex(&l, w->bus, 4);
	put_text(&l, " flags=");
	put_hex(&l, w->flags, 4);
	end(b, &l);
}

static void print_fault(const struct board *b, const struct sensor *s, const char *fault)
{
	struct line l;

	begin_id(&l, "ch=", s);
	put_text(&l, " fault=");
	put_text(&l, fault);
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
 * remark says why. */
static void print_values(const struct board *b, const struct sensor *s, const struct words *w)
{
	struct line l;
	int32_t counts = w->shunt >= 0x8000 ? (int32_t)w->shunt - 0x10000 : w->shunt;
	int64_t nanovolts = (int64_t)counts * 2500, per = s->shunt_uohm;

	if (w->flags & INA226_OVF) {
		print_remark(b, s, "the chip reports an overflow");
		return;
	}
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
		struct sensor *s = &sensors[i];
		struct words w = {0, 0, 0};
		bool fresh;
		enum sensor_fault f = take(b, s, &w, &fresh);

		if (f != FAULT_NONE) {
			if (is_due(s, f))
				(form == WORDS ? print_fault : print_remark)(b, s, fault_text(f));
		} else if (fresh) {
			s->fault = FAULT_NONE;
			(form == WORDS ? print_words : print_values)(b, s, &w);
		}
	}
}
