/* Runs the reference firmware on an emulated ATmega328P and plays a two-wire 24-bit converter to it from a script.
 *
 *     emulated_board FIRMWARE.elf SCRIPT WHERE paced|unpaced resets|steady REPORT
 *
 * WHERE the serial line comes out: "-" standard output, "pty:LINK" a pseudo-terminal with a link to it, "tcp:PORT".
 * A line of SCRIPT is a time in microseconds and a conversion's counts, or one of: reset, brown-out, unplug, plug,
 * stuck (data wire at ground), free (not so any more), power (the converter is switched on), end. "paced" is real
 * time; unpaced nothing is lost. "resets": somebody opening the port resets the board. REPORT: what was counted, as JSON.
 *
 * A program for tests only. It uses libsimavr, which is under the GNU General Public License, version 3.
 */
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <errno.h>
#include <fcntl.h>
#include <inttypes.h>
#include <netinet/tcp.h>
#include <poll.h>
#include <signal.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <termios.h>
#include <time.h>
#include <unistd.h>

#include <avr_ioport.h>
#include <avr_uart.h>
#include <sim_avr.h>
#include <sim_elf.h>
#include <sim_regbit.h>

#define MHZ 16ULL
#define DATA_PIN 4
#define CLOCK_PIN 5
#define PULSES 25
#define OFF_CYCLES (60 * MHZ) /* a clock pulse this long switches the converter off */
#define SETTLE 3              /* conversions of a converter just switched on that are wrong */

static avr_t *avr;
static int out; /* standard output; libsimavr's own talk goes to standard error instead */
static bool paced, resets_when_opened;
static volatile sig_atomic_t leave;

static struct {
    uint64_t conversions, read, missed, broken, switched_off, longest_us, shortest_cycles;
    uint64_t said, lost, written_to, starts;
} count = {.shortest_cycles = UINT64_MAX};

static void die(const char *what)
{
    fprintf(stderr, "emulated_board: %s: %s\n", what, strerror(errno));
    exit(1);
}

/* ---- the port ---- */

static struct {
    int fd, server; /* fd: master, client or standard output; -1 none */
    const char *link;
    uint16_t tcp;
    bool was_open;
    char waiting[4096];
    size_t length;
} port = {.fd = -1, .server = -1};

static void plug_in(void)
{
    port.was_open = false;
    if (port.link) {
        int slave;
        struct termios raw;
        if ((port.fd = posix_openpt(O_RDWR | O_NOCTTY | O_NONBLOCK)) < 0 || grantpt(port.fd) || unlockpt(port.fd))
            die("pseudo-terminal");
        if ((slave = open(ptsname(port.fd), O_RDWR | O_NOCTTY)) < 0 || tcgetattr(slave, &raw))
            die("pseudo-terminal");
        cfmakeraw(&raw);
        tcsetattr(slave, TCSANOW, &raw);
        close(slave); /* the master now reports a hang-up until somebody opens the port */
        if (symlink(ptsname(port.fd), port.link))
            die(port.link);
    } else if (port.tcp) {
        struct sockaddr_in here = {AF_INET, htons(port.tcp), {htonl(INADDR_LOOPBACK)}, {0}};
        int yes = 1;
        port.server = socket(AF_INET, SOCK_STREAM | SOCK_NONBLOCK, 0);
        setsockopt(port.server, SOL_SOCKET, SO_REUSEADDR, &yes, sizeof yes);
        if (bind(port.server, (void *)&here, sizeof here) || listen(port.server, 1))
            die("TCP port");
    }
}

static void pull_out(void)
{
    if (port.link)
        unlink(port.link);
    if (port.link || port.tcp) {
        close(port.fd);
        port.fd = -1;
    }
    if (port.server >= 0)
        close(port.server);
    port.server = -1;
    port.length = 0;
}

static bool is_open(void)
{
    if (!port.link && !port.tcp)
        return true;
    if (port.tcp && port.fd < 0 && (port.fd = accept4(port.server, NULL, NULL, SOCK_NONBLOCK)) >= 0) {
        int yes = 1;
        setsockopt(port.fd, IPPROTO_TCP, TCP_NODELAY, &yes, sizeof yes);
    }
    struct pollfd one = {port.fd, POLLIN, 0};
    if (port.fd < 0 || poll(&one, 1, 0) < 0 || (one.revents & (POLLHUP | POLLERR)))
        return false;
    if (one.revents & POLLIN) {
        char sink[256];
        ssize_t got = read(port.fd, sink, sizeof sink);
        count.written_to += got > 0 ? (uint64_t)got : 0;
        if (got == 0 && port.tcp) {
            close(port.fd);
            port.fd = -1;
            return false;
        }
    }
    return true;
}

static void flush(void)
{
    size_t done = 0;
    while (done < port.length && is_open()) {
        ssize_t wrote = write(port.fd, port.waiting + done, port.length - done);
        if (wrote > 0) {
            done += (size_t)wrote;
        } else if (wrote < 0 && errno == EAGAIN && !paced && !leave) {
            poll(&(struct pollfd){port.fd, POLLOUT, 0}, 1, 100);
        } else {
            break; /* a board does not wait for who reads it */
        }
    }
    count.said += done;
    count.lost += port.length - done;
    port.length = 0;
}

static void on_sign(struct avr_irq_t *irq, uint32_t sign, void *param)
{
    (void)irq, (void)param;
    port.waiting[port.length++] = (char)sign;
    if (port.length == sizeof port.waiting)
        flush();
}

/* ---- the converter ---- */

static struct {
    avr_irq_t *data;
    uint32_t counts;
    unsigned pulses, settling;
    bool level, ready, stuck;
    uint64_t rose; /* cycle, 0 while the clock is low */
} converter = {.level = true};

/* Told as an external pull too: else each write to the port would show the processor its own pull-up there. */
static void drive(void)
{
    bool high = converter.level && !converter.stuck;
    avr_ioport_external_t pull = {.name = 'D', .mask = 1 << DATA_PIN, .value = (unsigned)high << DATA_PIN};
    avr_ioctl(avr, AVR_IOCTL_IOPORT_SET_EXTERNAL('D'), &pull);
    avr_raise_irq(converter.data, high);
}

static void set_data(bool level)
{
    converter.level = level;
    drive();
}

static void switch_on(void)
{
    converter.ready = false;
    converter.pulses = 0;
    converter.settling = SETTLE;
    set_data(true);
}

static void on_clock(struct avr_irq_t *irq, uint32_t level, void *param)
{
    (void)irq, (void)param;
    if (level) {
        converter.rose = avr->cycle;
        converter.pulses++;
        bool bit = !converter.ready || converter.pulses > 24 || converter.counts >> (24 - converter.pulses) & 1;
        if (converter.pulses == PULSES)
            converter.ready = false;
        set_data(bit);
        return;
    }
    if (!converter.rose)
        return; /* a reset tells of the level though it has not changed */
    uint64_t width = avr->cycle - converter.rose;
    converter.rose = 0;
    if (width > OFF_CYCLES) {
        count.switched_off++;
        switch_on();
        return;
    }
    if (width < count.shortest_cycles)
        count.shortest_cycles = width;
    if (width / MHZ > count.longest_us)
        count.longest_us = width / MHZ;
}

static void convert(int32_t counts)
{
    if (converter.rose && avr->cycle - converter.rose > OFF_CYCLES)
        return; /* its clock is held up: it is off */
    count.conversions++;
    if (converter.pulses > 0 && converter.pulses < PULSES) { /* in the middle of a read */
        count.broken++;
        return;
    }
    count.read += converter.pulses == PULSES;
    count.missed += converter.ready;
    count.broken += converter.pulses > PULSES;
    if (converter.settling) {
        counts = counts / 4 * (int32_t)(SETTLE + 1 - converter.settling);
        converter.settling--;
    }
    converter.counts = (uint32_t)counts & 0xFFFFFF;
    converter.pulses = 0;
    converter.ready = true;
    set_data(false);
}

/* ---- the script ---- */

static FILE *script;
static uint64_t next_at; /* cycles */
static char next_what[32];
static bool at_end, board_event, just_opened;

static void next_line(void)
{
    uint64_t us;
    at_end = fscanf(script, "%" SCNu64 " %31s", &us, next_what) != 2;
    next_at = us * MHZ;
}

static avr_cycle_count_t play(avr_t *board, avr_cycle_count_t when, void *param)
{
    (void)board, (void)when, (void)param;
    while (!at_end && next_at <= avr->cycle) {
        if (!strcmp(next_what, "power")) {
            switch_on();
        } else if (!strcmp(next_what, "stuck") || !strcmp(next_what, "free")) {
            converter.stuck = next_what[0] == 's';
            converter.ready = false;
            set_data(true);
        } else if (!strcmp(next_what, "end")) {
            /* so long the board runs */
        } else if (strchr("-0123456789", next_what[0])) {
            convert((int32_t)strtol(next_what, NULL, 10));
        } else {
            board_event = true; /* it resets the timers too: not from within one */
            return 0;
        }
        next_line();
    }
    return at_end ? 0 : next_at;
}

static void start_board(avr_regbit_t cause)
{
    count.starts++;
    uint8_t before = avr->data[cause.reg]; /* causes of resets stay until the firmware clears them */
    avr_reset(avr);                        /* forgets all timers */
    avr->data[cause.reg] = cause.bit == avr->reset_flags.porf.bit ? 0 : before;
    avr_regbit_set(avr, cause);
    avr_raise_irq(converter.data, !converter.level); /* it also reads 0 from a pin until that changes */
    drive();
    if (!at_end)
        avr_cycle_timer_register(avr, next_at > avr->cycle ? next_at - avr->cycle : 1, play, NULL);
}

/* ---- time ---- */

static struct timespec begun;

static void keep_pace(uint64_t cycle)
{
    struct timespec now;
    clock_gettime(CLOCK_MONOTONIC, &now);
    int64_t ahead = (int64_t)(cycle * 1000 / MHZ) - ((now.tv_sec - begun.tv_sec) * 1000000000LL + now.tv_nsec - begun.tv_nsec);
    if (ahead > 200000)
        nanosleep(&(struct timespec){ahead / 1000000000LL, ahead % 1000000000LL}, NULL);
}

static void on_sleep(avr_t *board, avr_cycle_count_t cycles)
{
    (void)board;
    if (!paced)
        return;
    bool open = is_open();
    just_opened = just_opened || (open && !port.was_open);
    port.was_open = open;
    flush();
    keep_pace(avr->cycle + cycles);
}

static void handle_board_event(void)
{
    board_event = false;
    bool brown_out = !strcmp(next_what, "brown-out"), unplug = !strcmp(next_what, "unplug");
    if (unplug) {
        if (!paced)
            flush();
        pull_out();
        while (!at_end && strcmp(next_what, "plug"))
            next_line();
        if (at_end)
            return;
        avr->cycle = next_at;
        if (paced)
            keep_pace(avr->cycle);
        plug_in();
    }
    next_line();
    start_board(unplug ? avr->reset_flags.porf : brown_out ? avr->reset_flags.borf : avr->reset_flags.extrf);
    if (unplug || brown_out)
        switch_on();
}

static void on_signal(int number)
{
    (void)number;
    leave = 1;
}

static void set_up_board(const char *firmware)
{
    elf_firmware_t program = {0};
    uint32_t quiet = 0;
    if (elf_read_firmware(firmware, &program) || !(avr = avr_make_mcu_by_name("atmega328p")))
        die(firmware);
    avr_init(avr);
    avr->frequency = MHZ * 1000000;
    avr_load_firmware(avr, &program);
    avr->sleep = on_sleep;
    avr_ioctl(avr, AVR_IOCTL_UART_SET_FLAGS('0'), &quiet);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_UART_GETIRQ('0'), UART_IRQ_OUTPUT), on_sign, NULL);
    avr_irq_register_notify(avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), CLOCK_PIN), on_clock, NULL);
    converter.data = avr_io_getirq(avr, AVR_IOCTL_IOPORT_GETIRQ('D'), DATA_PIN);
}

static void set_up_port(const char *where)
{
    if (!strncmp(where, "pty:", 4))
        port.link = where + 4;
    else if (!strncmp(where, "tcp:", 4))
        port.tcp = (uint16_t)atoi(where + 4);
    else
        port.fd = out;
    plug_in();
}

static void run(void)
{
    while (!leave && !at_end) {
        /* One instruction behind "interrupts on" they are on. libsimavr 1.6 waits for two, and a processor that then
         * sleeps and shuts them off again never wakes. */
        if (avr->interrupt_state < 0)
            avr->interrupt_state = (int8_t)avr_has_pending_interrupts(avr);
        int state = avr_run(avr);
        if (state == cpu_Done || state == cpu_Crashed)
            die("the firmware has stopped");
        if (board_event)
            handle_board_event();
        if (just_opened && resets_when_opened)
            start_board(avr->reset_flags.extrf);
        just_opened = false;
    }
}

static void write_report(const char *path)
{
    FILE *file = fopen(path, "w");
    if (!file)
        die(path);
    fprintf(file, "{\"conversions\": %" PRIu64 ", \"read\": %" PRIu64 ", \"missed\": %" PRIu64 ", \"broken\": %" PRIu64,
            count.conversions, count.read, count.missed, count.broken);
    fprintf(file, ", \"switched_off\": %" PRIu64 ", \"longest_pulse_us\": %" PRIu64 ", \"shortest_pulse_cycles\": %" PRIu64,
            count.switched_off, count.longest_us, count.shortest_cycles);
    fprintf(file, ", \"said\": %" PRIu64 ", \"lost\": %" PRIu64 ", \"written_to\": %" PRIu64 ", \"starts\": %" PRIu64 "}\n",
            count.said, count.lost, count.written_to, count.starts);
    fclose(file);
}

int main(int argc, char **argv)
{
    if (argc != 7) {
        fprintf(stderr, "usage: emulated_board FIRMWARE.elf SCRIPT WHERE paced|unpaced resets|steady REPORT\n");
        return 2;
    }
    out = dup(STDOUT_FILENO);
    dup2(STDERR_FILENO, STDOUT_FILENO);
    signal(SIGPIPE, SIG_IGN);
    signal(SIGTERM, on_signal);
    paced = !strcmp(argv[4], "paced");
    resets_when_opened = !strcmp(argv[5], "resets");
    if (!(script = fopen(argv[2], "r")))
        die(argv[2]);
    set_up_board(argv[1]);
    set_up_port(argv[3]);
    if (port.fd != out)
        dprintf(out, "ready\n");
    while (!leave && !is_open())
        usleep(2000);
    port.was_open = true;
    clock_gettime(CLOCK_MONOTONIC, &begun);
    next_line();
    start_board(avr->reset_flags.porf);
    switch_on();
    run();
    flush();
    write_report(argv[6]);
    if (port.tcp)
        shutdown(port.fd, SHUT_WR);
    while (!leave && port.fd != out)
        usleep(20000);
    pull_out();
    return 0;
}
