/*
 * The exchange of doses between a host and a board (SPEC.md), as a model for spin.
 *
 *   spin -a dose_exchange.pml && gcc -O2 -DMEMLIM=4096 -o pan pan.c && ./pan -a -m1000000
 *
 * must print "errors: 0" (the exit status is 0 in any case). variants.py takes the guards out, one at a time (-DNO_...), and
 * shows that each is needed, and that everything named EVENT below does happen.
 *
 * What may go wrong: a frame is lost, damaged, or delivered any number of times, but frames never overtake each other; host
 * and board are as slow as they like; the host is killed, or gives up and connects anew, between any two of its steps and as
 * often as it likes; the board is reset (its memory kept) RESETS times and loses its power POWER_CUTS times, at any moment,
 * also in the midst of a step.
 *
 * What must hold:
 *   1. No counted step is made twice: the plunger passes no position, acknowledged or not, a second time.
 *   2. At every moment the journal holds the truth: the plunger is where it says, or between the bounds that it says. Once
 *      the host has heard of a reset or a power cut, its own bounds do; before, they are off by what nobody told it yet.
 *   3. A run that ends without a power cut ends with one position, off by no more than the steps in hand at resets; a
 *      power cut leaves bounds no wider than the dose in hand and the motor's snap.
 *   4. The motor makes at most DEAD_MAN steps after the last word of its host.
 *
 * Left out: limits and valve (they only refuse more), readings, refills. How a dose ended is not told apart.
 */

#ifndef RESETS
#define RESETS     1
#endif
#ifndef POWER_CUTS
#define POWER_CUTS 1
#endif
#ifndef TOP
#define TOP        2   /* where the run ends: the highest target, in steps */
#endif
#define MOST_DOSE  2   /* steps */
#ifndef DEAD_MAN
#define DEAD_MAN   1   /* steps without a word after which the motor stops */
#endif
#ifndef DOSES
#define DOSES      2   /* identifiers in a session */
#endif
#ifndef SESSIONS
#define SESSIONS   2   /* that a host may take of its own accord; each restart of the board costs one more */
#endif
#define NUMBERS    2   /* of requests, in turn */
#define STALE      9   /* the number of every frame of an earlier host: see connect */
#ifndef LINE
#define LINE       2   /* frames on their way, in each direction */
#endif
#ifndef REACH
#define REACH      0
#endif

#ifdef NO_DEAD_MAN
#define FED true
#else
#define FED (quiet < DEAD_MAN)
#endif
#define EVENT(n) assert(REACH != n)   /* true, unless this event is the one that is looked for */

#define HIGH (sent -> told : j_high)   /* a host that is alive knows what it has sent, also where that is not in the journal yet */
#define HEARS_STATUS ((host_is == Ask || host_is == Run) && m_kind == Status)
#define HEARS_REPORT ((host_is == Send || host_is == Run) && m_kind == Report && m_session == j_session && m_dose == j_dose)

#define ARRIVED_AT_TARGET   1
#define STOPPED_BY_DEAD_MAN 2
#define STOPPED_BY_HALT     3
#define STOPPED_BY_SESSION  4
#define RESET_AT_REST       5
#define RESET_IN_MOTION     6
#define RESET_IN_A_STEP     7
#define POWER_CUT_AT_REST   8
#define POWER_CUT_IN_MOTION 9
#define REPEAT_ANSWERED     10  /* a dose that is not newer: the stored answer */
#define SESSION_REFUSED     11  /* a command of no session in force, from before a restart */
#define DAMAGED_DROPPED     12
#define KILLED_WITH_INTENT  13  /* the dose is in the journal, and was never sent */
#define KILLED_IN_MOTION    14
#define RESUMED_IN_MOTION   15  /* a new host finds the dose still moving */
#define LATE_ANSWER_PASSED  16
#define RESET_NOTICED       17
#define POWER_CUT_NOTICED   18
#define ENDED_CERTAIN       19  /* at the top, one position */
#define ENDED_AFTER_RESET   20  /* the same, within a step */
#define ENDED_UNCERTAIN     21
#define KEPT_COUNT_OF_ANOTHER 22 /* a reset after a power cut: kept, but not the host's count */

mtype = { Hello, AskStatus, Move, Halt, Welcome, Status, Report, Refused, Ended };
mtype = { Look, Open, Ask, Ready, Send, Run, Write, Over };                   /* what the host is about to do, or awaits */

/* kind, number, session, dose, target */
chan to_board = [LINE] of { mtype, byte, byte, byte, byte };
/* kind, number, boot, session or counting since, dose or within, moving, position: only what the host looks at, to keep the model small */
chan to_host  = [LINE] of { mtype, byte, byte, byte, byte, bit, byte };

/* ------------------------------------------------------------------ the board */
byte boot = 1, since = 1, session, position, within;
byte dose_session, dose, target;
bit moving;                       /* how a dose ended is for people; what counts here is that it did */
byte quiet;                       /* steps since the last word of the session in force: the dead-man timer */
bit in_step;                      /* the plunger moved, the count did not yet */
byte resets, power_cuts;

/* ------------------------------------------------------------------ the journal: all that outlives a host */
byte j_boot = 1, j_since = 1, j_session = 1, j_dose, j_low, j_high, j_within;
bit j_lost;                       /* power was lost: the run is over, its volume uncertain */

/* ------------------------------------------------------------------ the host */
mtype host_is = Look;
byte number, told;                /* the request awaited; the position that is to be written down */
bit sent;                         /* only for the variant that sends before it writes */

/* ------------------------------------------------------------------ what nobody in the model can see */
short plunger;                    /* where it truly is, from where the run began */
byte unheard;                     /* steps since the last word of the session in force */
byte untold;                      /* how far resets and power cuts have set count and plunger apart, in all */
bit made[TOP + 3];                /* counted steps */

hidden mtype m_kind;
hidden byte m_number, m_session, m_dose, m_target, m_boot, m_position, m_moving, many;

inline journal_holds_the_truth() {
    if
    :: boot == j_boot || j_lost ->
        assert(j_low <= plunger + j_within && plunger <= HIGH + j_within)
    :: else ->
        assert(j_low <= plunger + untold && plunger <= HIGH + untold)
    fi
}

/* What is lost on the way is lost here or where it should arrive; an answer to an earlier host's request is of no use to anybody. */
inline tell(what, as_number, a_session, a_dose, is_moving, at) {
    if
    :: as_number == STALE -> skip
    :: as_number != STALE && full(to_host) -> skip
    :: as_number != STALE && nfull(to_host) -> to_host!what, as_number, boot, a_session, a_dose, is_moving, at
    fi
}

inline tell_welcome()    { tell(Welcome, m_number, since, within, 0, 0) }
inline tell_status()     { tell(Status, m_number, 0, 0, moving, (moving -> 0 : position)) }
inline tell_report()     { tell(Report, m_number, dose_session, dose, moving, (moving -> 0 : position)) }
inline tell_refused()    { tell(Refused, m_number, 0, 0, 0, 0) }

inline stop() {
    moving = 0; target = 0; quiet = 0; unheard = 0;
    tell(Ended, 0, dose_session, dose, 0, position)
}

inline feed() {
    if
    :: m_session == session && session != 0 -> quiet = 0; unheard = 0
    :: else
    fi
}

inline obey() {
    if
    :: m_kind == Hello ->
        if
        :: m_session != 0 && m_session != session ->
            if
            :: moving -> EVENT(STOPPED_BY_SESSION); stop()
            :: else
            fi;
            session = m_session
        :: else -> feed()
        fi;
        tell_welcome()
    :: m_kind == AskStatus -> feed(); tell_status()
    :: m_kind == Halt ->
        feed();
        if
        :: moving -> EVENT(STOPPED_BY_HALT); stop()
        :: else
        fi;
        tell_report()
    :: m_kind == Move ->
        if
#ifndef NO_SESSION
        :: m_session != session || session == 0 -> EVENT(SESSION_REFUSED); tell_refused()
#endif
        :: else ->
            feed();
            if
#ifndef NO_IDENTIFIER
            :: m_session == dose_session && m_dose <= dose -> EVENT(REPEAT_ANSWERED); tell_report()
#endif
            :: else ->
                if
                :: moving || m_target < position -> tell_refused()
                :: else ->
                    dose_session = m_session; dose = m_dose; target = m_target; quiet = 0; unheard = 0;
                    moving = 1;
                    tell_report()
                fi
            fi
        fi
    fi
}

active proctype board() {
end:
    do
    /* A request arrives, perhaps not for the last time. A step in hand is finished first. */
    :: atomic {
        !in_step && nempty(to_board) ->
        if
        :: to_board?m_kind, m_number, m_session, m_dose, m_target
        :: to_board?<m_kind, m_number, m_session, m_dose, m_target>
        fi;
        obey()
    }
    /* It is lost, or damaged. */
    :: atomic { nempty(to_board) -> to_board?m_kind, m_number, m_session, m_dose, m_target; EVENT(DAMAGED_DROPPED) }
#ifdef NO_CRC
    :: atomic { !in_step && nempty(to_board) -> to_board?m_kind, m_number, m_session, m_dose, m_target; m_target = m_target ^ 2; obey() }
#endif
    /* A step: the plunger moves, then it is counted. */
    :: atomic {
        moving && !in_step && position < target && FED ->
        assert(unheard < DEAD_MAN);                          /* 4 */
        assert(!made[position]);                             /* 1 */
        plunger++; in_step = 1;
        journal_holds_the_truth()                            /* 2 */
    }
    :: atomic {
        in_step -> in_step = 0;
        made[position] = 1; position++;
        quiet = (quiet < DEAD_MAN -> quiet + 1 : quiet);
        unheard++
    }
    :: atomic { moving && !in_step && position == target -> EVENT(ARRIVED_AT_TARGET); stop() }
    :: atomic { moving && !in_step && position < target && !FED -> EVENT(STOPPED_BY_DEAD_MAN); stop() }
    /* A reset without loss of power: position, newest dose and their bound are kept, the session in force is not. */
    :: atomic {
        resets < RESETS && host_is != Over -> resets++;
        if
        :: in_step -> EVENT(RESET_IN_A_STEP); in_step = 0; within++; untold++
        :: !in_step && moving -> EVENT(RESET_IN_MOTION)
        :: !in_step && !moving -> EVENT(RESET_AT_REST)
        fi;
        if
        :: power_cuts -> EVENT(KEPT_COUNT_OF_ANOTHER)
        :: else
        fi;
        moving = 0; target = 0;
        boot++; session = 0; quiet = 0; unheard = 0
    }
    /* A loss of power: nothing is kept, and a stepper without current may snap to a full step. */
    :: atomic {
        power_cuts < POWER_CUTS && host_is != Over -> power_cuts++;
        if
        :: moving -> EVENT(POWER_CUT_IN_MOTION)
        :: else -> EVENT(POWER_CUT_AT_REST)
        fi;
        if
        :: plunger++; untold++
        :: plunger--; untold++
        :: skip
        fi;
        boot++; since = boot; session = 0; quiet = 0; unheard = 0;
        position = 0; within = 0; in_step = 0;
        dose_session = 0; dose = 0; target = 0; moving = 0
    }
    od
}

/* Send what is asked now, or send it again; while it is on its way already, a second one is what the line makes of it. */
inline ask(what, in_session, a_dose, to) {
    if
    :: to_board??[what, eval(number), eval(in_session), eval(a_dose), eval(to)] -> skip
    :: else ->
        if
        :: nfull(to_board) -> to_board!what, number, in_session, a_dose, to
        :: full(to_board) -> skip
        fi
    fi
}

inline next(is) {
    number = (number + 1) % NUMBERS;
    host_is = is
}

/* A host draws its first number at random. So none of an earlier one's, that is still on its way, is the one awaited. */
inline connect() {
#ifndef NO_FRESH_NUMBER
    many = len(to_board);
    do
    :: many > 0 ->
        many--;
        to_board?m_kind, m_number, m_session, m_dose, m_target;
        if
        :: m_kind == Hello && m_session == 0       /* only asks for an answer, which would be stale */
        :: else -> to_board!m_kind, STALE, m_session, m_dose, m_target
        fi
    :: else -> break
    od;
    many = len(to_host);
    do
    :: many > 0 ->
        many--;
        to_host?m_kind, m_number, m_boot, m_session, m_dose, m_moving, m_position;
        if
        :: m_kind == Ended -> to_host!m_kind, m_number, m_boot, m_session, m_dose, m_moving, m_position
        :: else
        fi
    :: else -> break
    od;
#endif
    number = 0; told = 0; sent = 0;
    host_is = Look
}

/* The dose is over: the position is known, and to be written down. */
inline rests_at(where) {
    told = where;
    next(Write)
}

inline hear() {
    if
    :: m_kind == Ended ->
        if
        :: host_is == Run && m_boot == j_boot && m_session == j_session && m_dose == j_dose -> rests_at(m_position)
        :: else
        fi
    :: m_kind != Ended && m_number != number -> EVENT(LATE_ANSWER_PASSED)
    :: m_kind != Ended && m_number == number ->
        if
        :: host_is == Look && m_kind == Welcome ->
            if
#ifdef NO_COUNT_ORIGIN
            :: m_boot != j_boot && m_session == m_boot ->
#else
            :: m_session != j_since ->
#endif
                EVENT(POWER_CUT_NOTICED);
                j_lost = 1; j_within++; host_is = Over;
                assert(j_high - j_low <= MOST_DOSE && j_within <= untold + 1)   /* 3 */
            :: else ->
                if
                :: m_boot != j_boot ->
                    EVENT(RESET_NOTICED);
                    j_boot = m_boot; j_within = m_dose;
                    if
                    :: j_session++; j_dose = 0
                    :: skip                           /* or the same one again */
                    fi
                :: m_boot == j_boot && j_session < SESSIONS -> j_session++; j_dose = 0
                :: m_boot == j_boot
                fi;
                next(Open)
            fi;
            journal_holds_the_truth()
        :: host_is == Open && m_kind == Welcome && m_boot == j_boot -> next(Ask)
        :: m_boot == j_boot && (HEARS_STATUS || HEARS_REPORT) ->
            if
            :: m_moving ->
                if
                :: host_is == Ask -> EVENT(RESUMED_IN_MOTION)
                :: else
                fi;
                next(Run)
            :: else -> rests_at(m_position)
            fi
        :: host_is != Look && m_boot != j_boot -> connect()
        :: host_is == Send && m_kind == Refused && m_boot == j_boot -> connect()
        :: else                       /* an answer to something else */
        fi
    fi
}

active proctype host() {
    do
    /* What it says, and says again. */
    :: atomic { host_is == Look -> ask(Hello, 0, 0, 0) }
    :: atomic { host_is == Open -> ask(Hello, j_session, 0, 0) }
    :: atomic { host_is == Ask || host_is == Run -> ask(AskStatus, j_session, 0, 0) }
    :: atomic { host_is == Run -> ask(Halt, j_session, 0, 0) }
    /* Intent before send: the next dose is in the journal before the board may know of it. */
    :: atomic {
        host_is == Ready && j_high < TOP && j_dose < DOSES && (!sent) ->
        j_dose++;
        if
        :: m_target = j_high + 1
        :: j_high + MOST_DOSE <= TOP -> m_target = j_high + MOST_DOSE
        fi;
#ifdef NO_INTENT
        told = m_target; sent = 1;
        number = (number + 1) % NUMBERS;
        ask(Move, j_session, j_dose, m_target)
    }
    :: atomic {
        host_is == Ready && sent ->
        sent = 0; j_high = told; told = 0; host_is = Send
    }
#else
        j_high = m_target;
        next(Send)
    }
#endif
    :: atomic {
        host_is == Send ->
        ask(Move, j_session, j_dose, j_high)
    }
    /* The outcome behind it. */
    :: atomic {
        host_is == Write ->
#ifndef NO_OUTCOME
        j_low = told;
#endif
        j_high = told; told = 0; host_is = Ready;
        journal_holds_the_truth()
    }
    /* The end of the run. */
    :: atomic {
        host_is == Ready && (j_high == TOP || j_dose == DOSES) && !sent ->
        if
        :: j_within -> EVENT(ENDED_AFTER_RESET)
        :: else -> EVENT(ENDED_CERTAIN)
        fi;
        assert(j_low == j_high && j_within <= untold);       /* 3 */
        journal_holds_the_truth();
        host_is = Over
    }
    :: host_is == Over ->
        atomic {
            if
            :: j_lost -> EVENT(ENDED_UNCERTAIN)
            :: else
            fi
        };
        break
    /* An answer or an event arrives, perhaps not for the last time. */
    :: atomic {
        host_is != Over && nempty(to_host) ->
        if
        :: to_host?m_kind, m_number, m_boot, m_session, m_dose, m_moving, m_position
        :: to_host?<m_kind, m_number, m_boot, m_session, m_dose, m_moving, m_position>
        fi;
        hear()
    }
    :: atomic { host_is != Over && nempty(to_host) -> to_host?m_kind, m_number, m_boot, m_session, m_dose, m_moving, m_position }
#ifdef NO_CRC
    :: atomic { host_is != Over && nempty(to_host) -> to_host?m_kind, m_number, m_boot, m_session, m_dose, m_moving, m_position; m_position = m_position ^ 1; hear() }
#endif
    /* Killed, or given up and connected anew: what the journal does not hold is gone. */
    :: atomic {
        host_is != Look && host_is != Over ->
        if
        :: host_is == Send -> EVENT(KILLED_WITH_INTENT)
        :: host_is == Run -> EVENT(KILLED_IN_MOTION)
        :: else
        fi;
        connect()
    }
    od
}
