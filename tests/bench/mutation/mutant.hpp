// Read before each source that tests/bench/mutation.py has put mutants into. Each mutant is a switch in the running program:
// one build holds hundreds, and MUTANT=number in the environment turns one on. MUTANT=-1 notes which of them are reached,
// and which would have changed a value there: only the tests that saw one of those can tell it.
#pragma once

#include <initializer_list>
#include <type_traits>

namespace mutant {

extern int active;   // 0 none, -1 taking notes, else the number of the one that is on
void note(int number, bool differs);

enum class Operator { less, at_most, greater, at_least, equal, unequal, plus, minus, times, over };
enum class Change { half_more, one_more, one_less, nought };

template <class T>
bool is_nought(const T& value) {
    if constexpr (std::is_integral_v<T>) return value == T{};
    return false;
}

template <Operator op, class A, class B>
auto apply(const A& a, const B& b) {
    if constexpr (op == Operator::less) return a < b;
    else if constexpr (op == Operator::at_most) return a <= b;
    else if constexpr (op == Operator::greater) return a > b;
    else if constexpr (op == Operator::at_least) return a >= b;
    else if constexpr (op == Operator::equal) return a == b;
    else if constexpr (op == Operator::unequal) return a != b;
    else if constexpr (op == Operator::plus) return a + b;
    else if constexpr (op == Operator::minus) return a - b;
    else if constexpr (op == Operator::times) return a * b;
    else return a / b;
}

template <class T>
bool differ(const T& a, const T& b) {
    if constexpr (requires { a == b; }) return !(a == b);
    else return true;
}

/// a < Between<7, Operator::at_most>() < b reads as a < b, or with mutant 7 on as a <= b: an operator put twice keeps the
/// precedence of what stands around it, so nobody has to find where its operands begin and end.
template <int number, Operator op>
struct Between {};
template <class A, int number, Operator op>
struct Left {
    const A& value;
};

#define HUSHTRACE_BETWEEN(symbol)                                                                              \
    template <class A, int number, Operator op>                                                                \
    Left<A, number, op> operator symbol(const A& a, Between<number, op>) {                                     \
        return {a};                                                                                            \
    }                                                                                                          \
    template <class A, int number, Operator op, class B>                                                       \
    auto operator symbol(Left<A, number, op> left, const B& b) -> std::decay_t<decltype(left.value symbol b)> { \
        using Result = std::decay_t<decltype(left.value symbol b)>;                                            \
        const A& a = left.value;                                                                               \
        constexpr bool divides = op == Operator::over;                                                         \
        if (active == number) return static_cast<Result>(apply<op>(a, b));                                     \
        const Result plain = a symbol b;                                                                       \
        if (active < 0) note(number, (divides && is_nought(b)) || differ(plain, static_cast<Result>(apply<op>(a, b)))); \
        return plain;                                                                                          \
    }
HUSHTRACE_BETWEEN(<)
HUSHTRACE_BETWEEN(<=)
HUSHTRACE_BETWEEN(>)
HUSHTRACE_BETWEEN(>=)
HUSHTRACE_BETWEEN(==)
HUSHTRACE_BETWEEN(!=)
HUSHTRACE_BETWEEN(+)
HUSHTRACE_BETWEEN(-)
HUSHTRACE_BETWEEN(*)
HUSHTRACE_BETWEEN(/)

/// One of two values known at once.
template <int number, class T>
T either(const T& plain, const T& mutated) {
    if (active == number) return mutated;
    if (active < 0) note(number, differ(plain, mutated));
    return plain;
}

/// sum += Assign<7>() += x: with mutant 7 on, -=; likewise *= turns into /=.
template <int number>
struct Assign {};
template <int number, class T>
T operator+=(Assign<number>, const T& x) { return either<number, T>(x, static_cast<T>(-x)); }
template <int number, class T>
T operator-=(Assign<number>, const T& x) { return either<number, T>(x, static_cast<T>(-x)); }
template <int number, class T>
T operator*=(Assign<number>, const T& x) { return either<number, T>(x, T{1} / x); }
template <int number, class T>
T operator/=(Assign<number>, const T& x) { return either<number, T>(x, T{1} / x); }

/// !x and -x, as Not<7>() ->* x.
template <int number>
struct Not {};
template <int number, class T>
bool operator->*(Not<number>, const T& x) { return either<number, bool>(!x, static_cast<bool>(x)); }
template <int number>
struct Negative {};
template <int number, class T>
T operator->*(Negative<number>, const T& x) { return either<number, T>(static_cast<T>(-x), x); }

template <int number, Change change, class T>
T constant(const T& x) {
    static_assert(std::is_arithmetic_v<T>);
    constexpr T one = static_cast<T>(1);
    if constexpr (std::is_same_v<T, bool>) return either<number, bool>(x, !x);
    else if constexpr (change == Change::nought) return either<number, T>(x, x == T{} ? one : T{});
    else if constexpr (change == Change::half_more && std::is_floating_point_v<T>) return either<number, T>(x, x == T{} ? one : x * T(1.5));
    else if constexpr (change == Change::one_less) return either<number, T>(x, static_cast<T>(x - one));
    else return either<number, T>(x, static_cast<T>(x + one));
}

template <int number, class T>
T least(const T& a, const T& b) { return either<number, T>(b < a ? b : a, b < a ? a : b); }
template <int number, class T>
T greatest(const T& a, const T& b) { return either<number, T>(a < b ? b : a, a < b ? a : b); }

/// One side of && or || taken away.
template <int number>
bool always(bool plain, bool mutated) { return either<number, bool>(plain, mutated); }

/// a && b as a || b, and the other way round; what the plain program does not evaluate is not evaluated for a note.
template <int number, bool is_and, class B>
bool junction(bool a, const B& b) {
    if (active == number) return is_and ? a || b() : a && b();
    const bool stops = a != is_and;
    const bool plain = stops ? a : b();
    if (active < 0) note(number, stops || plain != a);
    return plain;
}

/// Whether a statement is carried out.
template <int number>
bool keep() {
    if (active < 0) note(number, true);
    return active != number;
}

}  // namespace mutant
