// SPDX-License-Identifier: MIT
#include "app/history/graph_accessible.h"

#include "app/history/graph_list.h"

#include <QAccessibleWidget>
#include <QHash>
#include <QPointer>

namespace espalier {

namespace {

class RowInterface : public QAccessibleInterface {
  public:
    RowInterface(GraphList* list, int display) : m_list(list), m_display(display) {}

    // The local changes' row is -1.
    bool isValid() const override
    {
        return m_list && (m_display < 0 ? m_list->hasLocalRow() : m_display < m_list->model()->rowCount());
    }
    QObject* object() const override { return nullptr; }
    QAccessibleInterface* parent() const override { return QAccessible::queryAccessibleInterface(m_list); }
    QAccessibleInterface* child(int) const override { return nullptr; }
    QAccessibleInterface* childAt(int, int) const override { return nullptr; }
    int childCount() const override { return 0; }
    int indexOfChild(const QAccessibleInterface*) const override { return -1; }
    int display() const { return m_display; }
    QAccessible::Role role() const override { return QAccessible::ListItem; }
    QString text(QAccessible::Text kind) const override
    {
        if (!isValid() || kind != QAccessible::Name)
            return {};
        return m_display < 0 ? m_list->localWords() : m_list->model()->spokenText(m_display);
    }
    void setText(QAccessible::Text, const QString&) override {}
    QRect rect() const override
    {
        if (!isValid())
            return {};
        const QRect inside = place();
        return {m_list->viewport()->mapToGlobal(inside.topLeft()), inside.size()};
    }
    QAccessible::State state() const override
    {
        QAccessible::State state;
        if (!isValid()) {
            state.invalid = true;
            return state;
        }
        state.selectable = state.focusable = state.multiSelectable = true;
        state.selected = m_display < 0 ? m_list->isOnLocalRow() : m_list->current() == m_display;
        state.focused = m_list->hasFocus() && state.selected;
        state.offscreen = !m_list->viewport()->rect().intersects(place());
        return state;
    }

  private:
    QRect place() const { return m_display < 0 ? m_list->rectOfLocalRow() : m_list->rectOf(m_display); }

    QPointer<GraphList> m_list;
    int m_display;
};

// Interfaces are made when asked for; a reader that walks a million rows must not keep a million of them.
constexpr qsizetype mostKept = 4096;
QHash<const GraphList*, QHash<int, QAccessible::Id>> kept;

class ListInterface : public QAccessibleWidget {
  public:
    explicit ListInterface(GraphList* list) : QAccessibleWidget(list, QAccessible::List) {}

    int childCount() const override { return list()->spokenCount(); }
    QAccessibleInterface* child(int index) const override
    {
        if (index < 0 || index >= childCount())
            return nullptr;
        return row(list()->spokenAt(index));
    }
    QAccessibleInterface* row(int display) const
    {
        auto& rows = kept[list()];
        if (const auto found = rows.constFind(display); found != rows.constEnd())
            return QAccessible::accessibleInterface(*found);
        if (rows.size() >= mostKept)
            forgetAccessibleRows(list());
        auto* made = new RowInterface(list(), display);
        kept[list()].insert(display, QAccessible::registerAccessibleInterface(made));
        return made;
    }
    QAccessibleInterface* childAt(int x, int y) const override
    {
        const QPoint at = list()->viewport()->mapFromGlobal(QPoint(x, y));
        if (list()->hasLocalRow() && list()->rectOfLocalRow().contains(at))
            return row(-1);
        const int display = list()->displayAt(at);
        return display < 0 ? nullptr : row(display);
    }
    int indexOfChild(const QAccessibleInterface* child) const override
    {
        const auto* known = dynamic_cast<const RowInterface*>(child);
        return known ? list()->indexOfSpoken(known->display()) : -1;
    }
    QAccessibleInterface* focusChild() const override
    {
        return list()->current() >= 0 || list()->isOnLocalRow() ? row(list()->current()) : nullptr;
    }

  private:
    GraphList* list() const { return static_cast<GraphList*>(widget()); }
};

QAccessibleInterface* makeInterface(const QString& className, QObject* object)
{
    if (className != QLatin1String("espalier::GraphList"))
        return nullptr;
    return new ListInterface(static_cast<GraphList*>(object));
}

} // namespace

void installGraphAccessibility()
{
    static const bool installed = [] {
        QAccessible::installFactory(makeInterface);
        return true;
    }();
    (void)installed;
}

void forgetAccessibleRows(const GraphList* list)
{
    const auto rows = kept.take(list);
    for (const QAccessible::Id id : rows)
        QAccessible::deleteAccessibleInterface(id);
}

} // namespace espalier
