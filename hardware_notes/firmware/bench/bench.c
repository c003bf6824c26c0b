/* The light bench: runs the firmware on a simulated ATmega328P, light in, bytes out on a pty of its own.
 *
 * A tool for tests and demonstrations only.  It links simavr, which is under the GNU General Public License, version
 * 3; a binary of this program is therefore under that licence too.  Nothing of meterlink itself links or needs it.
 *
 *     bench FIRMWARE.elf [--paused] [--id HEX16] [--name TEXT]
 *
 * prints `pty PATH` and then obeys commands from standard input, one a line, each answered by one line that begins
 * with `ok` or `error`.  README.md beside it lists them.  With --paused time stands still but for `step MS`, and the
 * bytes that come out are the same in every run.  Without it the chip runs in real time. */
#include <errno.h>
#include <fcntl.h>
#include <poll.h>
#include <pty.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <avr_adc.h>
#include <avr_eeprom.h>
#include <avr_ioport.h>
#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_elf.h>

#include "light.h"

#define CLOCK_HZ 16000000UL
#define CONVERSION_CYCLES 208
/* The sample is held two clocks of the ADC (prescaler 16) after an automatic start. */
#define HOLD_CYCLES 32
#define ADC_VECTOR 21
/* simavr scales by 1023 / reference and truncates: with this reference code x SCALE + half comes out as the code. */
#define SCALE 64
#define SLICE_MS 1
/* The chip's own reference, channel 14, is fed as if it were the pin ADC1: simavr's constant has too few bits. */
#define BANDGAP_CHANNEL 14
#define BANDGAP_SOURCE 1
#define RECEIVE_MOST 4096
#define WAITING_MOST (1 << 20)

static avr_t *avr;
static struct light light;
static int master = -1;
static bool paused;
static bool quit;

/* Host -> chip, as far as the simulated UART has room. */
static uint8_t to_chip[RECEIVE_MOST];
static size_t to_chip_length;
static bool chip_listens;

/* Chip -> host, kept in paused mode until somebody reads. */
static uint8_t *waiting;
static size_t waiting_length;
static size_t waiting_sent;

/* The grid of conversions, and figures for `stats`. */
static avr_adc_t *adc;
static bool conversion_started;
static bool resumed; /* free running begins again after single conversions */
static avr_cycle_count_t conversion_start;
static unsigned long long bytes_out, bytes_in, bytes_dropped, conversions, samples_missed;
static avr_cycle_count_t isr_entered, isr_longest, isr_total;
static unsigned long long isr_count;
static bool sample_unread;
static uint8_t range_pins;
static FILE *recording; /* of the codes, little-endian u16 */

static double seconds(avr_cycle_count_t cycle) { return (double)cycle / CLOCK_HZ; }

static void say(char const *format, ...) {
    va_list arguments;
    va_start(arguments, format);
    vprintf(format, arguments);
    va_end(arguments);
    putchar('\n');
    fflush(stdout);
}

/* --------------------------------------------------------------------------------------------------- the chip's ADC */

/* Raised when a conversion starts, in free running just after the one before has ended: so here the result of the
 * ended one is put where the firmware will read it, however late within the next conversion. */
static void on_conversion_start(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    union {
        uint32_t v;
        avr_adc_mux_t mux;
    } const which = {.v = value};
    if (which.mux.src == BANDGAP_SOURCE) { /* single conversions, off the grid */
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0 + BANDGAP_SOURCE),
                      light_bandgap_code(&light) * SCALE + SCALE / 2);
        resumed = true;
        return;
    }
    if (resumed) {
        resumed = sample_unread = false;
        conversion_start = avr->cycle;
        conversion_started = true;
        return;
    }
    if (conversions == 0) {
        conversion_start = avr->cycle;
    } else {
        uint16_t const code = light_code(&light, seconds(conversion_start + HOLD_CYCLES));
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_ADC0), code * SCALE + SCALE / 2);
        if (recording != NULL) {
            putc(code & 0xFF, recording);
            putc(code >> 8, recording);
        }
        if (sample_unread) samples_missed++;
        sample_unread = true;
        /* The first conversion takes 25 clocks of the ADC instead of 13. */
        conversion_start += conversions == 1 ? CONVERSION_CYCLES / 13 * 25 : CONVERSION_CYCLES;
    }
    conversions++;
    conversion_started = true;
}

/* simavr counts the period from when it noticed the end, up to three cycles late: put the end back on the grid. */
static void keep_grid(void) {
    conversion_started = false;
    avr_cycle_count_t const length = conversions == 1 ? CONVERSION_CYCLES / 13 * 25 : CONVERSION_CYCLES;
    for (avr_cycle_timer_slot_p t = avr->cycle_timers.timer; t != NULL; t = t->next) {
        if (t->param != adc) continue;
        avr_cycle_timer_t const raise = t->timer;
        avr_cycle_timer_cancel(avr, raise, adc);
        avr_cycle_timer_register(avr, conversion_start + length - avr->cycle, raise, adc);
        return;
    }
}

static void on_adc_interrupt(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    if (value) {
        isr_entered = avr->cycle;
        sample_unread = false;
        return;
    }
    if (isr_entered == 0) return;
    avr_cycle_count_t const took = avr->cycle - isr_entered;
    if (took > isr_longest) isr_longest = took;
    isr_total += took;
    isr_count++;
}

/* ------------------------------------------------------------------------------------------------ pins and serial line */

static void on_range_pin(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq;
    (void)param;
    range_pins = value ? 1 : 0;
    light.range = value ? 0 : 1;
}

static void send_waiting(void) {
    while (waiting_sent < waiting_length) {
        ssize_t const n = write(master, waiting + waiting_sent, waiting_length - waiting_sent);
        if (n <= 0) return;
        waiting_sent += (size_t)n;
    }
    waiting_sent = waiting_length = 0;
}

static void on_byte_out(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    uint8_t const byte = (uint8_t)value;
    bytes_out++;
    if (!paused) {
        if (write(master, &byte, 1) != 1) bytes_dropped++; /* nobody reads: a serial line does not wait either */
        return;
    }
    if (waiting_length == WAITING_MOST) {
        bytes_dropped++;
        return;
    }
    waiting[waiting_length++] = byte;
}

static void feed_chip(void) {
    size_t fed = 0;
    while (chip_listens && fed < to_chip_length) {
        bytes_in++;
        avr_raise_irq(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_INPUT), to_chip[fed++]);
    }
    memmove(to_chip, to_chip + fed, to_chip_length - fed);
    to_chip_length -= fed;
}

static void on_xon(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    if (value) chip_listens = true;
}

static void on_xoff(struct avr_irq_t *irq, uint32_t value, void *param) {
    (void)irq, (void)param;
    if (value) chip_listens = false;
}

/* Until there is nothing left: only a read that finds nothing makes the kernel hand over what is still on its way. */
static void receive(void) {
    while (to_chip_length < sizeof to_chip) {
        ssize_t const n = read(master, to_chip + to_chip_length, sizeof to_chip - to_chip_length);
        if (n <= 0) return;
        to_chip_length += (size_t)n;
    }
}

/* ------------------------------------------------------------------------------------------------------------ running */

static bool run_until(avr_cycle_count_t end) {
    while (avr->cycle < end) {
        int const state = avr_run(avr);
        if (conversion_started) keep_grid();
        if (to_chip_length != 0 && chip_listens) feed_chip();
        if (state == cpu_Done || state == cpu_Crashed) return false;
    }
    return true;
}

static void step(double ms) {
    avr_cycle_count_t const end = avr->cycle + (avr_cycle_count_t)(ms * (CLOCK_HZ / 1000) + 0.5);
    receive();
    chip_listens = true;
    if (!run_until(end)) {
        say("error the simulated chip stopped");
        quit = true;
        return;
    }
    send_waiting();
    say("ok %.6f", seconds(avr->cycle) * 1e3);
}

static void restart_chip(void) {
    avr_reset(avr);
    uint32_t flags = 0;
    avr_ioctl(avr, AVR_IOCTL_UART_GET_FLAGS('0'), &flags);
    flags &= ~(uint32_t)(AVR_UART_FLAG_STDIO | AVR_UART_FLAG_POLL_SLEEP);
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &flags);
    avr->avcc = avr->vcc = avr->aref = 1023 * SCALE;
    conversions = 0;
    conversion_started = sample_unread = resumed = false;
    chip_listens = true;
    to_chip_length = 0;
    range_pins = 0;
    light.range = -1;
}

/* ----------------------------------------------------------------------------------------------------------- commands */

/* The value of `key=` among the words of a command; `otherwise` when it is not there; *bad when it is no number. */
static double number(char const *line, char const *key, double otherwise, bool *bad) {
    size_t const length = strlen(key);
    for (char const *at = line; (at = strstr(at, key)) != NULL; at += length) {
        if (at != line && at[-1] == ' ' && at[length] == '=') {
            char *end;
            double const value = strtod(at + length + 1, &end);
            if (end == at + length + 1 || (*end != ' ' && *end != '\0')) *bad = true;
            return value;
        }
    }
    return otherwise;
}

static void command_pop(char const *line) {
    bool bad = false;
    struct pulse p = {.shape = SHAPE_DOUBLE_EXPONENTIAL};
    if (strstr(line, " rectangle") != NULL) p.shape = SHAPE_RECTANGLE;
    if (strstr(line, " gaussian") != NULL) p.shape = SHAPE_GAUSSIAN;
    double const now_s = seconds(avr->cycle);
    p.at_s = now_s + number(line, "at_ms", 0, &bad) / 1e3;
    p.peak_lx = number(line, "peak_lx", 0, &bad);
    p.rise_s = number(line, "rise_us", 0, &bad) / 1e6;
    p.decay_s = number(line, "decay_us", 0, &bad) / 1e6;
    p.cut_s = number(line, "cut_us", 0, &bad) / 1e6;
    p.fall_s = number(line, "fall_us", 0, &bad) / 1e6;
    p.width_s = number(line, "width_us", 0, &bad) / 1e6;
    p.edge_s = number(line, "edge_us", 0, &bad) / 1e6;
    p.count = (unsigned)number(line, "count", 1, &bad);
    p.period_s = number(line, "period_us", 0, &bad) / 1e6;
    bool const shaped = p.shape == SHAPE_DOUBLE_EXPONENTIAL ? p.decay_s > 0 && p.rise_s >= 0 && p.rise_s < p.decay_s
                                                            : p.width_s > 0;
    if (bad || !shaped || (p.count > 1 && p.period_s <= 0)) {
        say("error pop needs decay_us above rise_us, or width_us; a count needs period_us");
        return;
    }
    say(light_add_pulse(&light, p, now_s) ? "ok" : "error too many pulses under way");
}

static void command_set(char const *line) {
    bool bad = false;
    light.ambient_lx = number(line, "ambient_lx", light.ambient_lx, &bad);
    light.flicker_depth = number(line, "flicker_depth", light.flicker_depth, &bad);
    light.flicker_hz = number(line, "flicker_hz", light.flicker_hz, &bad);
    light.full_scale_lx[0] = number(line, "full_scale_0_lx", light.full_scale_lx[0], &bad);
    light.full_scale_lx[1] = number(line, "full_scale_1_lx", light.full_scale_lx[1], &bad);
    light.gain_error[0] = number(line, "gain_error_0", light.gain_error[0], &bad);
    light.gain_error[1] = number(line, "gain_error_1", light.gain_error[1], &bad);
    light.offset = number(line, "offset", light.offset, &bad);
    light.nonlinearity = number(line, "nonlinearity", light.nonlinearity, &bad);
    light.hum = number(line, "hum", light.hum, &bad);
    light.hum_hz = number(line, "hum_hz", light.hum_hz, &bad);
    light.pole_s = number(line, "pole_us", light.pole_s * 1e6, &bad) / 1e6;
    light.noise = number(line, "noise", light.noise, &bad);
    light.supply_v = number(line, "supply_v", light.supply_v, &bad);
    light.bandgap_v = number(line, "bandgap_v", light.bandgap_v, &bad);
    double const seed = number(line, "seed", -1, &bad);
    if (seed >= 0) light_seed(&light, (uint64_t)seed);
    say(bad || light.full_scale_lx[0] <= 0 || light.full_scale_lx[1] <= 0 || light.supply_v <= 0 ? "error not a number" : "ok");
}

static void command_stats(void) {
    say("ok {\"now_ms\": %.6f, \"bytes_out\": %llu, \"bytes_in\": %llu, \"bytes_dropped\": %llu, "
        "\"conversions\": %llu, \"samples_missed\": %llu, \"isr_count\": %llu, \"isr_longest_cycles\": %llu, "
        "\"isr_mean_cycles\": %.2f, \"range_pins\": %u, \"lux\": %.9g}",
        seconds(avr->cycle) * 1e3, bytes_out, bytes_in, bytes_dropped, conversions, samples_missed, isr_count,
        (unsigned long long)isr_longest, isr_count ? (double)isr_total / isr_count : 0, range_pins,
        light_lux(&light, seconds(avr->cycle)));
    isr_longest = isr_total = 0;
    isr_count = 0;
}

static bool begins(char const *line, char const *word) {
    size_t const length = strlen(word);
    return strncmp(line, word, length) == 0 && (line[length] == ' ' || line[length] == '\0');
}

static void obey(char *line) {
    if (begins(line, "step")) {
        double const ms = strtod(line + 4, NULL);
        if (!paused || !(ms > 0 && ms <= 3.6e6)) {
            say("error step MS, in paused mode");
            return;
        }
        step(ms);
    } else if (begins(line, "pop")) {
        command_pop(line);
    } else if (begins(line, "set")) {
        command_set(line);
    } else if (begins(line, "dark")) {
        light.pulse_count = 0;
        light.ambient_lx = 0;
        say("ok");
    } else if (begins(line, "record")) {
        if (recording != NULL) fclose(recording);
        recording = line[6] == ' ' ? fopen(line + 7, "wb") : NULL;
        say(recording != NULL || line[6] == '\0' ? "ok" : "error the file cannot be written");
    } else if (begins(line, "reset")) {
        restart_chip();
        say("ok");
    } else if (begins(line, "stats")) {
        command_stats();
    } else if (begins(line, "quit")) {
        say("ok");
        quit = true;
    } else {
        say("error unknown command");
    }
}

/* Read what is there of standard input and obey its whole lines. */
static void listen_commands(void) {
    static char buffer[4096];
    static size_t length;
    ssize_t const n = read(STDIN_FILENO, buffer + length, sizeof buffer - 1 - length);
    if (n <= 0) {
        if (n == 0 || (errno != EAGAIN && errno != EINTR)) quit = true; /* whoever started us is gone */
        return;
    }
    length += (size_t)n;
    char *end;
    while (!quit && (end = memchr(buffer, '\n', length)) != NULL) {
        *end = '\0';
        obey(buffer);
        length -= (size_t)(end + 1 - buffer);
        memmove(buffer, end + 1, length);
    }
    if (length == sizeof buffer - 1) length = 0;
}

/* -------------------------------------------------------------------------------------------------------------- loops */

static double wall_s(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return (double)t.tv_sec + t.tv_nsec / 1e9;
}

static void loop_paused(void) {
    while (!quit) {
        struct pollfd fds[2] = {{.fd = STDIN_FILENO, .events = POLLIN}, {.fd = master, .events = POLLOUT}};
        poll(fds, waiting_length != 0 ? 2 : 1, -1);
        if (fds[0].revents) listen_commands();
        send_waiting();
    }
}

static void loop_real_time(void) {
    double const begin_s = wall_s() - seconds(avr->cycle);
    double slipped_s = 0;
    while (!quit) {
        struct pollfd fds[1] = {{.fd = STDIN_FILENO, .events = POLLIN}};
        double const ahead_s = seconds(avr->cycle) - (wall_s() - begin_s - slipped_s);
        if (ahead_s < -0.2) slipped_s -= ahead_s; /* the machine was busy or asleep: do not race to catch up */
        poll(fds, 1, ahead_s > 0 ? (int)(ahead_s * 1e3) + 1 : 0);
        if (fds[0].revents) listen_commands();
        if (ahead_s > SLICE_MS * 2e-3) continue;
        receive();
        if (!run_until(avr->cycle + SLICE_MS * (CLOCK_HZ / 1000))) quit = true;
    }
}

/* -------------------------------------------------------------------------------------------------------------- start */

static void quiet_log(avr_t *of, int const level, char const *format, va_list arguments) {
    (void)of;
    if (level <= LOG_ERROR) vfprintf(stderr, format, arguments);
}

static void fail(char const *what) {
    say("error %s", what);
    exit(1);
}

static void open_pty(void) {
    char path[256];
    int slave;
    struct termios raw;
    if (openpty(&master, &slave, path, NULL, NULL) != 0) fail("no pty to be had");
    /* The slave stays open here as well, or a client that leaves would hang the line up. */
    tcgetattr(slave, &raw);
    cfmakeraw(&raw);
    tcsetattr(slave, TCSANOW, &raw);
    fcntl(master, F_SETFL, O_NONBLOCK);
    say("pty %s", path);
}

static void write_eeprom(char const *id, char const *name) {
    uint8_t bytes[9 + 32];
    for (int i = 0; i < 8; i++) {
        unsigned value = 0;
        if (sscanf(id + 2 * i, "%2x", &value) != 1) fail("--id takes 16 hex digits");
        bytes[i] = (uint8_t)value;
    }
    size_t const length = strlen(name) < 32 ? strlen(name) : 32;
    bytes[8] = (uint8_t)length;
    memcpy(bytes + 9, name, length);
    avr_eeprom_desc_t e = {.ee = bytes, .offset = 0, .size = (uint32_t)(9 + length)};
    uint8_t back[sizeof bytes] = {0};
    avr_eeprom_desc_t check = {.ee = back, .offset = 0, .size = e.size};
    /* What the two calls return says nothing in simavr 1.6. */
    avr_ioctl(avr, AVR_IOCTL_EEPROM_SET, &e);
    avr_ioctl(avr, AVR_IOCTL_EEPROM_GET, &check);
    if (memcmp(bytes, back, e.size) != 0) fail("the EEPROM cannot be written");
}

static void start_chip(char const *firmware_path) {
    elf_firmware_t firmware;
    memset(&firmware, 0, sizeof firmware);
    avr_global_logger_set(quiet_log);
    if (elf_read_firmware(firmware_path, &firmware) != 0) fail("the firmware cannot be read");
    avr = avr_make_mcu_by_name("atmega328p");
    if (avr == NULL) fail("this simavr has no atmega328p");
    avr_init(avr);
    avr->frequency = CLOCK_HZ;
    firmware.frequency = CLOCK_HZ;
    avr_load_firmware(avr, &firmware);
    avr->log = LOG_ERROR;
    for (avr_io_t *io = avr->io_port; io != NULL; io = io->next) {
        if (strcmp(io->kind, "adc") == 0) adc = (avr_adc_t *)io;
    }
    if (adc != NULL) adc->muxmode[BANDGAP_CHANNEL] = (avr_adc_mux_t){.kind = ADC_MUX_SINGLE, .src = BANDGAP_SOURCE};
}

static void connect_chip(void) {
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_ADC_GETIRQ, ADC_IRQ_OUT_TRIGGER), on_conversion_start, NULL);
    avr_irq_register_notify(avr_get_interrupt_irq(avr, ADC_VECTOR) + AVR_INT_IRQ_RUNNING, on_adc_interrupt, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), 2), on_range_pin, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_byte_out, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XON), on_xon, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUT_XOFF), on_xoff, NULL);
}

int main(int argc, char **argv) {
    char const *id = NULL;
    char const *name = "";
    if (argc < 2) fail("bench FIRMWARE.elf [--paused] [--id HEX16] [--name TEXT]");
    for (int i = 2; i < argc; i++) {
        if (strcmp(argv[i], "--paused") == 0) {
            paused = true;
        } else if (strcmp(argv[i], "--id") == 0 && i + 1 < argc) {
            id = argv[++i];
        } else if (strcmp(argv[i], "--name") == 0 && i + 1 < argc) {
            name = argv[++i];
        } else {
            fail("unknown option");
        }
    }
    waiting = malloc(WAITING_MOST);
    if (waiting == NULL) fail("no memory");
    light_init(&light);
    start_chip(argv[1]);
    connect_chip();
    restart_chip();
    if (id != NULL) write_eeprom(id, name);
    open_pty();
    fcntl(STDIN_FILENO, F_SETFL, O_NONBLOCK);
    if (paused) {
        loop_paused();
    } else {
        loop_real_time();
    }
    avr_terminate(avr);
    return 0;
}
